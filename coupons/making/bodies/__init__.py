"""The bodies of a coupon as lists of simple shapes, each in its own frame. No meshes here."""
