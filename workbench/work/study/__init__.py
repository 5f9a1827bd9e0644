"""Repeatability studies: planned, read blind, and shown."""
