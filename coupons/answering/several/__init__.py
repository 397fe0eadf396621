"""Joints with more than one pair of faces: pockets, sleeves, pairs of holes, springy legs."""
