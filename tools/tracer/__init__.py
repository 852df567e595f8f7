"""The slow renderer: whole scenes with true geometry by path tracing, for validation and never for training.

The same SceneSpec as tools.renderer is built as meshes and rendered by Cycles through Blender's Python module (bpy), so
that the gap between two renderers can be measured scene by scene. bpy is no dependency of the product: only blender.py,
stage.py and things.py import it, and they are imported when a picture is wanted.
"""
