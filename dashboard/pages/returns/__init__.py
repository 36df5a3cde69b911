"""Returns: do riders come back, and does the fit hold?"""
