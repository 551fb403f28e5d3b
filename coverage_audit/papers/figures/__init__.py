"""Figures of the report: one module each, with its title, words, tables and drawings."""
