"""Builds the site of documentation: which files are its pages, and the tables that are made from the code."""
