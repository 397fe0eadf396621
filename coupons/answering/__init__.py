"""What to draw: fits, joints, standards, hardware, comparison, the next coupon."""
