"""The command line as ``python -m coupons``."""

from coupons.cli import main

main(prog_name="coupons")
