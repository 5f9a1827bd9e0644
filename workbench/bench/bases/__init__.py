"""Screens to begin from: lists, forms, questions, number entry."""
