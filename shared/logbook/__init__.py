"""The logbook: what the studio says itself, in one small transactional file beside the warehouse, which loads replace."""
