"""The command line's families of commands, one file each.

Each module has ``add(commands)``, which adds its parsers with ``set_defaults(run=...)``; it imports
what is heavy only inside the function that runs.
"""
