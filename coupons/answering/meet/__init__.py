"""Where bodies meet: pairs of faces, joined into joints and rests."""
