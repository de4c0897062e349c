"""The wall and the rebuild as meshes."""
