"""Cautions and checklists as data: common practice, no source; the maker's word comes first."""
