"""The only place that touches the CAD kernel and meshes; it knows nothing about cars."""
