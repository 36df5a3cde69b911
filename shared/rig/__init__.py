"""The rig that measures: whether a studio's captures still mean what they meant before."""
