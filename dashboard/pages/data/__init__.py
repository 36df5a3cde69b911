"""Data: can we trust it?"""
