"""Thin layer over Blender's Python module: meshes, maps, materials, lamps, a render to linear light.

Import it late: bpy is no dependency of Rakelight. One Blender unit is a millimeter. Names follow Blender's.
"""

from __future__ import annotations

import math
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import bpy
import mathutils
import numpy as np
from numpy.typing import NDArray

from tools.renderer.spec import Floats
from tools.tracer.pinhole import Matrix, Pinhole

Faces = NDArray[np.int32]

SENSOR_MM = 36.0
BOUNCES = 1
"""Light thrown back more than once no longer changes a figure's look."""


def clear() -> Any:
    """Start an empty scene and return it."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    return bpy.context.scene


def add_mesh(
    name: str, vertices: Floats, faces: Faces, material: Any, uv: Floats | None = None, *, smooth: bool = True
) -> Any:
    """Add a mesh of quads: `vertices` (N, 3) mm, `faces` (M, 4) vertex numbers, `uv` (N, 2) per vertex."""
    mesh = bpy.data.meshes.new(name)
    corners = np.ascontiguousarray(faces, np.int32)
    mesh.vertices.add(len(vertices))
    mesh.vertices.foreach_set("co", np.ascontiguousarray(vertices, np.float32).ravel())
    mesh.loops.add(corners.size)
    mesh.loops.foreach_set("vertex_index", corners.ravel())
    mesh.polygons.add(len(corners))
    mesh.polygons.foreach_set("loop_start", np.arange(0, corners.size, 4, dtype=np.int32))
    mesh.polygons.foreach_set("use_smooth", np.full(len(corners), smooth))
    if uv is not None:
        layer = mesh.uv_layers.new(name="map")
        layer.data.foreach_set("uv", np.ascontiguousarray(uv[corners.ravel()], np.float32).ravel())
    mesh.update(calc_edges=True)
    thing = bpy.data.objects.new(name, mesh)
    thing.data.materials.append(material)
    bpy.context.scene.collection.objects.link(thing)
    return thing


def grid_faces(rows: int, columns: int) -> Faces:
    """Return the quads (M, 4) of a grid of vertices, row by row, the first row farthest up; counterclockwise."""
    number = np.arange(rows * columns).reshape(rows, columns)
    faces = np.stack([number[1:, :-1], number[1:, 1:], number[:-1, 1:], number[:-1, :-1]], -1)
    return faces.reshape(-1, 4).astype(np.int32)


def add_tube(
    name: str, start: Matrix, end: Matrix, radius_mm: float, material: Any, *, sides: int = 16, rounded: bool = False
) -> Any:
    """Add a round bar between two points, closed with flat or rounded ends; its own z axis runs along it."""
    axis = mathutils.Vector(np.asarray(end - start).tolist())
    angle = np.linspace(0, 2 * math.pi, sides + 1)[:-1]
    ring = np.stack([np.cos(angle), np.sin(angle)], 1) * radius_mm
    half = axis.length / 2
    levels = [(0.0, -half), (1.0, -half), (1.0, half), (0.0, half)]
    if rounded:
        tip = np.linspace(0, math.pi / 2, 6)
        upper = [(float(np.cos(a)), half + radius_mm * float(np.sin(a))) for a in tip]
        levels = [(share, -z) for share, z in reversed(upper)] + upper
    vertices = np.vstack([np.hstack([ring * share, np.full((sides, 1), z)]) for share, z in levels])
    faces = []
    for level in range(len(levels) - 1):
        for k in range(sides):
            a, b = level * sides + k, level * sides + (k + 1) % sides
            faces.append([a, b, b + sides, a + sides])
    thing = add_mesh(name, vertices.astype(np.float32), np.array(faces, np.int32), material, smooth=sides > 8)
    thing.rotation_euler = axis.to_track_quat("Z", "Y").to_euler()
    thing.location = ((start + end) / 2).tolist()
    return thing


def picture(name: str, values: Floats) -> Any:
    """Return a Blender image of linear values (H, W, 3 or 4) float32, row 0 at the top; the fourth is no opacity."""
    height, width, channels = values.shape
    image = bpy.data.images.new(name, width, height, alpha=True, float_buffer=True, is_data=True)
    image.alpha_mode = "CHANNEL_PACKED"
    full = np.ones((height, width, 4), np.float32)
    full[..., :channels] = values[::-1]
    image.pixels.foreach_set(full.ravel())
    image.pack()
    return image


def plain_material(
    name: str, color: Floats | tuple[float, float, float], rough: float, metal: float = 0.0, bump: str = ""
) -> Any:
    """Return a material of one color. `bump` is 'winding' (turns of wire along z), 'fuzz' (felt) or nothing."""
    material, tree, shader = _new_material(name)
    shader.inputs["Base Color"].default_value = (*np.asarray(color, float).tolist(), 1.0)
    shader.inputs["Roughness"].default_value = rough
    shader.inputs["Metallic"].default_value = metal
    if bump:
        place = tree.nodes.new("ShaderNodeTexCoord")
        if bump == "winding":
            texture = tree.nodes.new("ShaderNodeTexWave")
            texture.bands_direction = "Z"
            texture.inputs["Scale"].default_value = 0.55
        else:
            texture = tree.nodes.new("ShaderNodeTexNoise")
            texture.inputs["Scale"].default_value = 2.2
            texture.inputs["Detail"].default_value = 4.0
        tree.links.new(place.outputs["Object"], texture.inputs["Vector"])
        _bump(tree, shader, texture.outputs[0], 0.25 if bump == "winding" else 0.6)
    return material


def mapped_material(name: str, albedo: Floats, metal: Floats, rough: Floats, slopes: Floats) -> Any:
    """Return a material from maps on the mesh's uv: color (H, W, 3), metal and roughness (H, W), slopes (H, W, 2).

    Slopes are those of the fine skin along world x and y. They are added to the mesh's own normal, which is that of a
    height over x and y; a bump node would read the maps three times as often.
    """
    material, tree, shader = _new_material(name)
    color = tree.nodes.new("ShaderNodeTexImage")
    color.image = picture(name + "-color", np.dstack([albedo, metal]))
    tree.links.new(color.outputs["Color"], shader.inputs["Base Color"])
    tree.links.new(color.outputs["Alpha"], shader.inputs["Metallic"])
    rest = tree.nodes.new("ShaderNodeTexImage")
    rest.image = picture(name + "-rest", np.dstack([-slopes[..., 0], -slopes[..., 1], np.zeros_like(rough), rough]))
    tree.links.new(rest.outputs["Alpha"], shader.inputs["Roughness"])
    shape = tree.nodes.new("ShaderNodeNewGeometry")
    bent = tree.nodes.new("ShaderNodeVectorMath")
    bent.operation = "ADD"
    unit = tree.nodes.new("ShaderNodeVectorMath")
    unit.operation = "NORMALIZE"
    tree.links.new(rest.outputs["Color"], bent.inputs[0])
    tree.links.new(shape.outputs["Normal"], bent.inputs[1])
    tree.links.new(bent.outputs["Vector"], unit.inputs[0])
    tree.links.new(unit.outputs["Vector"], shader.inputs["Normal"])
    for node in (color, rest):
        node.extension = "MIRROR"
    return material


def _new_material(name: str) -> tuple[Any, Any, Any]:
    material = bpy.data.materials.new(name)
    return material, material.node_tree, material.node_tree.nodes["Principled BSDF"]


def _bump(tree: Any, shader: Any, height: Any, distance_mm: float) -> None:
    """Bend the shading normals by a height of `distance_mm` for each unit."""
    bump = tree.nodes.new("ShaderNodeBump")
    bump.inputs["Distance"].default_value = distance_mm
    tree.links.new(height, bump.inputs["Height"])
    tree.links.new(bump.outputs["Normal"], shader.inputs["Normal"])


def set_camera(pinhole: Pinhole, focus_mm: float, aperture_mm: float) -> None:
    """Set the scene's camera: exact pinhole projection, blurred by a lens of `aperture_mm` focused at `focus_mm`."""
    scene = bpy.context.scene
    width, height = pinhole.size
    camera = bpy.data.cameras.new("camera")
    camera.sensor_fit, camera.sensor_width = ("HORIZONTAL", SENSOR_MM) if width >= height else ("VERTICAL", SENSOR_MM)
    camera.lens = SENSOR_MM * pinhole.focal_px / max(width, height)
    camera.clip_start, camera.clip_end = 1.0, 10000.0
    if aperture_mm > 0:
        camera.dof.use_dof = True
        camera.dof.focus_distance = focus_mm
        # Blender takes the f-number for a lens whose focal length is in millimeters of a meter-sized world
        camera.dof.aperture_fstop = camera.lens / 1000.0 / aperture_mm
    holder = bpy.data.objects.new("camera", camera)
    holder.matrix_world = mathutils.Matrix(pinhole.pose.tolist())
    scene.collection.objects.link(holder)
    scene.camera = holder
    scene.render.resolution_x, scene.render.resolution_y = width, height


def add_torch(place: Matrix, aim: Matrix, cone_deg: float, radius_mm: float, irradiance: float) -> None:
    """Add a spot lamp that gives `irradiance` (1 makes white paper 1) to a surface facing it at the aim."""
    lamp = bpy.data.lights.new("torch", "SPOT")
    distance = float(np.linalg.norm(place - aim))
    lamp.energy = irradiance * 4 * math.pi**2 * distance**2
    lamp.spot_size = math.radians(min(cone_deg, 175.0))
    lamp.spot_blend = 1.0
    lamp.shadow_soft_size = radius_mm
    holder = bpy.data.objects.new("torch", lamp)
    holder.location = place.tolist()
    holder.rotation_euler = mathutils.Vector((aim - place).tolist()).to_track_quat("-Z", "Y").to_euler()
    bpy.context.scene.collection.objects.link(holder)


def set_room(sky: Floats) -> None:
    """Light the scene from all around by an equirectangular picture (H, W, 3), 1 making white paper about 1."""
    world = bpy.data.worlds.new("room")
    bpy.context.scene.world = world
    texture = world.node_tree.nodes.new("ShaderNodeTexEnvironment")
    texture.image = picture("room", sky)
    world.node_tree.links.new(texture.outputs["Color"], world.node_tree.nodes["Background"].inputs["Color"])
    # a room without bright spots is found well enough by the surfaces' own rays, and the torch is then never missed
    world.cycles.sampling_method = "NONE"


@contextmanager
def _silence() -> Iterator[None]:
    """Keep what Blender's own code writes to standard output away from it: data alone goes there."""
    sys.stdout.flush()
    kept, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


@_silence()
def render(samples: int, seed: int, threads: int) -> Floats:
    """Return linear light (H, W, 3) float32 of the scene by Cycles on the CPU, cleaned by Open Image Denoise."""
    scene = bpy.context.scene
    scene.render.engine = "CYCLES"
    cycles = scene.cycles
    cycles.device, cycles.seed = "CPU", seed % 2**31
    cycles.samples, cycles.use_adaptive_sampling = samples, False
    cycles.use_denoising, cycles.denoiser = True, "OPENIMAGEDENOISE"
    cycles.denoising_quality, cycles.denoising_prefilter = "FAST", "NONE"
    cycles.max_bounces, cycles.diffuse_bounces, cycles.glossy_bounces = BOUNCES, 1, BOUNCES
    cycles.caustics_reflective = cycles.caustics_refractive = False
    cycles.sample_clamp_indirect, cycles.use_light_tree = 4.0, False
    scene.render.threads_mode, scene.render.threads = "FIXED", threads
    scene.view_settings.view_transform = "Raw"
    settings = scene.render.image_settings
    settings.file_format, settings.color_depth, settings.exr_codec = "OPEN_EXR", "32", "NONE"
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "light.exr"
        scene.render.filepath = str(file)
        bpy.ops.render.render(write_still=True)
        image = bpy.data.images.load(str(file))
        image.colorspace_settings.name = "Non-Color"
        width, height = image.size
        values = np.empty(width * height * 4, np.float32)
        image.pixels.foreach_get(values)
    return np.ascontiguousarray(values.reshape(height, width, 4)[::-1, :, :3])
