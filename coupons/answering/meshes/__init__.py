"""Bodies from files: meshes, whether they are sound, and the faces that they are made of."""
