"""Pictures of the cage, from numpy meshes without the CAD kernel."""
