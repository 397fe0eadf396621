"""What to print next: the coupon that is expected to teach most."""
