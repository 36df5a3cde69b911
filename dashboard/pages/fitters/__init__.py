"""Fitters: who needs a second pair of eyes?"""
