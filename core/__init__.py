"""The computation: plain Python, numpy, scipy, shapely. No Blender in here."""
