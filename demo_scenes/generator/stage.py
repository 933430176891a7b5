"""Blender plumbing: meshes, objects, node graphs, passes. Nothing here knows what a tree is."""

import math
import time
from typing import Any

import bpy
import mathutils
import numpy as np
import OpenEXR

HAZE_LENGTH_M = 6000.0
LONG_SIDE_MM = 0.8 * math.hypot(36.0, 24.0)
START = time.time()
COVERAGE_PASSES = ("coverage_a", "coverage_b")
# class id -> (pass, channel); 1 and 2 are sky, 8 is not built
COVERAGE_OF_CLASS = {4: (0, 0), 5: (0, 1), 6: (0, 2), 7: (1, 0), 3: (1, 1), 9: (1, 2)}


def say(*words):
    """Print, with the time since the start."""
    print(f"[{time.time() - START:6.1f} s]", *words, flush=True)


class Graph:
    """A node tree with short ways to link sockets or set values. `Stage.material` adds the sockets named here."""

    band: Any
    position: Any
    instance: Any
    tint: Any

    def __init__(self, tree):
        self.tree = tree
        tree.nodes.clear()

    def node(self, kind, inputs=None, **settings):
        """A node of that kind, its settings set and its inputs linked or set."""
        node = self.tree.nodes.new(kind)
        for key, value in settings.items():
            setattr(node, key, value)
        for key, value in (inputs or {}).items():
            self._feed(node.inputs[key], value)
        return node

    def _feed(self, socket, value):
        if isinstance(value, bpy.types.NodeSocket):
            self.tree.links.new(value, socket)
        elif isinstance(value, (tuple, list)) and len(value) == 3 and socket.type == "RGBA":
            socket.default_value = (*value, 1.0)
        else:
            socket.default_value = value

    def math(self, operation, *values):
        """Socket of one operation on numbers."""
        node = self.tree.nodes.new("ShaderNodeMath")
        node.operation = operation
        for socket, value in zip(node.inputs, values, strict=False):
            self._feed(socket, value)
        return node.outputs[0]

    def mix(self, factor, a, b, blend="MIX"):
        """Colours mixed by factor."""
        node = self.tree.nodes.new("ShaderNodeMix")
        node.data_type, node.blend_type = "RGBA", blend
        for index, value in ((0, factor), (6, a), (7, b)):
            self._feed(node.inputs[index], value)
        return node.outputs[2]

    def blend(self, factor, a, b):
        """Numbers mixed by factor."""
        node = self.tree.nodes.new("ShaderNodeMix")
        node.data_type = "FLOAT"
        for index, value in ((0, factor), (2, a), (3, b)):
            self._feed(node.inputs[index], value)
        return node.outputs[0]

    def noise(self, where, scale, detail=4.0, roughness=0.55, low=0.35, high=0.65):
        """Noise stretched so that low..high becomes 0..1."""
        node = self.node(
            "ShaderNodeTexNoise", {"Vector": where, "Scale": scale, "Detail": detail, "Roughness": roughness}
        )
        return self.node("ShaderNodeMapRange", {"Value": node.outputs[0], "From Min": low, "From Max": high}).outputs[0]

    def stretched(self, where, scale_xyz):
        """Socket of a position scaled along each axis."""
        return self.node("ShaderNodeMapping", {"Vector": where, "Scale": scale_xyz}).outputs[0]

    def grey(self, value):
        """Socket of a colour that is the same in every channel."""
        return self.node("ShaderNodeCombineColor", {0: value, 1: value, 2: value}).outputs[0]


class Stage:
    """One empty Blender scene and the switch between visible light and infrared."""

    def __init__(self):
        bpy.ops.wm.read_factory_settings(use_empty=True)
        self.scene = bpy.context.scene
        group = bpy.data.node_groups.new("Band", "ShaderNodeTree")
        group.interface.new_socket("Band", in_out="OUTPUT", socket_type="NodeSocketFloat")
        self._band = group.nodes.new("ShaderNodeValue")
        out = group.nodes.new("NodeGroupOutput")
        group.links.new(self._band.outputs[0], out.inputs[0])
        self._band_group = group
        layer = self.scene.view_layers[0]
        for name in COVERAGE_PASSES:
            aov = layer.aovs.add()
            aov.name, aov.type = name, "COLOR"
        aov = layer.aovs.add()
        aov.name, aov.type = "clearness", "VALUE"
        layer.use_pass_z = True

    def set_band(self, infrared):
        """Switch every material to visible light (0) or infrared (1)."""
        self._band.outputs[0].default_value = float(infrared)

    def material(self, name, build, class_id=None):
        """build(graph) -> surface socket, or (surface, coverage_a, coverage_b) when classes vary over the surface."""
        material = bpy.data.materials.new(name)
        material.use_nodes = True
        g = Graph(material.node_tree)
        switch = g.node("ShaderNodeGroup")
        switch.node_tree = self._band_group
        g.band = switch.outputs[0]
        g.position = g.node("ShaderNodeNewGeometry").outputs["Position"]
        g.instance = g.node("ShaderNodeObjectInfo").outputs["Random"]
        g.tint = g.node("ShaderNodeAttribute", attribute_name="tint").outputs["Fac"]
        result = build(g)
        if class_id is None:
            surface, *coverage = result
        else:
            surface, coverage = result, [[0.0, 0.0, 0.0], [0.0, 0.0, 0.0]]
            which, channel = COVERAGE_OF_CLASS[class_id]
            coverage[which][channel] = 1.0
        g.node("ShaderNodeOutputMaterial", {"Surface": surface})
        for aov, colour in zip(COVERAGE_PASSES, coverage, strict=True):
            value = colour if isinstance(colour, bpy.types.NodeSocket) else tuple(colour)
            g.node("ShaderNodeOutputAOV", {"Color": value}, aov_name=aov)
        distance = g.node("ShaderNodeCameraData").outputs["View Distance"]
        clear = g.math("EXPONENT", g.math("MULTIPLY", distance, -1.0 / HAZE_LENGTH_M))
        g.node("ShaderNodeOutputAOV", {"Value": clear}, aov_name="clearness")
        return material

    def put(self, mesh, at=(0, 0, 0), turn=0.0, scale=1.0, lean=(0.0, 0.0), parent=None):
        """Stand a mesh in the scene: place [m], turn and lean [radians], scale."""
        thing = bpy.data.objects.new(mesh.name, mesh)
        thing.location = at
        thing.rotation_euler = (lean[0], lean[1], turn)
        thing.scale = (scale,) * 3 if np.isscalar(scale) else scale
        thing.parent = parent
        self.scene.collection.objects.link(thing)
        return thing

    def group(self, at, turn=0.0):
        """Something that moves all that is put with it as its parent."""
        empty = bpy.data.objects.new("group", None)
        empty.location, empty.rotation_euler = at, (0, 0, turn)
        self.scene.collection.objects.link(empty)
        return empty

    def camera(self, at, pitch_deg, focal_35mm):
        """35 mm equivalent by the diagonal (CIPA DCG-001): the long side of a 4:3 picture stands for 34.6 mm."""
        data = bpy.data.cameras.new("camera")
        data.sensor_fit, data.sensor_width, data.lens = "AUTO", LONG_SIDE_MM, focal_35mm
        data.clip_start, data.clip_end = 0.05, 60000.0
        thing = bpy.data.objects.new("camera", data)
        thing.location = at
        thing.rotation_euler = (math.pi / 2 + math.radians(pitch_deg), 0, 0)
        self.scene.collection.objects.link(thing)
        self.scene.camera = thing
        return thing

    def sun(self, toward, colour, strength):
        """A sun of 0.53 degrees in that direction."""
        data = bpy.data.lights.new("sun", "SUN")
        data.angle = math.radians(0.53)
        thing = bpy.data.objects.new("sun", data)
        thing.rotation_euler = mathutils.Vector(toward).to_track_quat("Z", "Y").to_euler()
        self.scene.collection.objects.link(thing)
        self.set_sun(thing, colour, strength)
        return thing

    @staticmethod
    def set_sun(thing, colour, strength):
        """Give a sun its colour and strength."""
        thing.data.color, thing.data.energy = tuple(float(c) for c in colour), float(strength)

    def world_of(self, image, name):
        """A world from an equirectangular float array."""
        height, width = image.shape[:2]
        data = bpy.data.images.new(name, width, height, float_buffer=True, alpha=False)
        data.colorspace_settings.name = "Linear Rec.709"
        rgba = np.ones((height, width, 4), np.float32)
        rgba[..., :3] = image[::-1]
        data.pixels.foreach_set(rgba.ravel())
        data.update()
        data.pack()
        world = bpy.data.worlds.new(name)
        world.use_nodes = True
        g = Graph(world.node_tree)
        texture = g.node("ShaderNodeTexEnvironment")
        texture.image = data
        background = g.node("ShaderNodeBackground", {"Color": texture.outputs[0]})
        g.node("ShaderNodeOutputWorld", {"Surface": background.outputs[0]})
        world.cycles.sampling_method = "MANUAL"
        world.cycles.sample_map_resolution = 512
        return world

    def renderer(self, width, height, samples, denoise=True, threads=2, bounces=5, seed=3):
        """How the picture is rendered: size [px], camera samples, bounces of light."""
        render, cycles = self.scene.render, self.scene.cycles
        render.engine = "CYCLES"
        cycles.device, cycles.samples, cycles.seed = "CPU", samples, seed
        cycles.use_adaptive_sampling = False
        cycles.use_denoising = denoise
        cycles.denoiser = "OPENIMAGEDENOISE"
        cycles.denoising_prefilter = "FAST"
        cycles.denoising_input_passes = "RGB_ALBEDO_NORMAL"
        cycles.max_bounces, cycles.diffuse_bounces, cycles.glossy_bounces = bounces + 3, bounces, 2
        cycles.transmission_bounces = 3
        cycles.caustics_reflective = cycles.caustics_refractive = False
        cycles.sample_clamp_indirect = 6
        render.resolution_x, render.resolution_y, render.resolution_percentage = width, height, 100
        render.use_persistent_data = True
        render.threads_mode, render.threads = "FIXED", threads
        settings = render.image_settings
        settings.media_type = "MULTI_LAYER_IMAGE"
        settings.file_format, settings.color_depth = "OPEN_EXR_MULTILAYER", "32"
        self.scene.view_settings.view_transform = "Standard"
        render.film_transparent = True

    def render(self, path):
        """Render; returns the passes: picture (H, W, 4), two coverages (H, W, 3), clearness and depth (H, W)."""
        started = time.time()
        self.scene.render.filepath = str(path)
        bpy.ops.render.render(write_still=True)
        passes = read_passes(path)
        say(f"rendered {path.name}: {time.time() - started:.1f} s")
        return passes


def read_passes(path):
    """The passes of a rendered file, by name: planes (H, W) and colours (H, W, 3 or 4), float32."""
    channels = {}
    for part in OpenEXR.File(str(path)).parts:
        for key, channel in part.channels.items():
            channels[key] = channel.pixels

    def one(name, wanted):
        for key, pixels in channels.items():
            if name in key and pixels.ndim == 3:
                return pixels[..., :wanted]
        found = {key.split(".")[-1]: pixels for key, pixels in channels.items() if name in key}
        if wanted == 1:
            return next(iter(found.values()))
        return np.stack([found[c] for c in "RGBA"[:wanted]], -1)

    out = {"picture": one("Combined", 4).astype(np.float32)}
    for name in COVERAGE_PASSES:
        if any(name in key for key in channels):
            out[name] = one(name, 3).astype(np.float32)
    for name, key in (("clearness", "clearness"), ("depth", "Depth")):
        if any(key in k for k in channels):
            plane = one(key, 1)
            out[name] = (plane if plane.ndim == 2 else plane[..., 0]).astype(np.float32)
    return out


def make_mesh(name, vertices, faces, material, tint=None, rounded=False, weights=None):
    """A mesh datablock from arrays; tint (V,) and weights (V, 4) become attributes."""
    mesh = bpy.data.meshes.new(name)
    vertices = np.ascontiguousarray(vertices, np.float32)
    faces = np.ascontiguousarray(faces, np.int32)
    corners = faces.shape[1]
    mesh.vertices.add(len(vertices))
    mesh.vertices.foreach_set("co", vertices.ravel())
    mesh.loops.add(faces.size)
    mesh.loops.foreach_set("vertex_index", faces.ravel())
    mesh.polygons.add(len(faces))
    mesh.polygons.foreach_set("loop_start", np.arange(0, faces.size, corners, dtype=np.int32))
    # without this Blender shades every mesh smooth
    mesh.polygons.foreach_set("use_smooth", np.full(len(faces), bool(rounded)))
    mesh.update(calc_edges=True)
    if tint is not None:
        mesh.attributes.new("tint", "FLOAT", "POINT").data.foreach_set("value", np.ascontiguousarray(tint, np.float32))
    if weights is not None:
        attribute = mesh.attributes.new("weights", "FLOAT_COLOR", "POINT")
        attribute.data.foreach_set("color", np.ascontiguousarray(weights, np.float32).ravel())
    mesh.materials.append(material)
    return mesh


def upright_on(normal, turn):
    """Euler angles that stand a thing on a slope with that normal."""
    stand = mathutils.Vector(normal).to_track_quat("Z", "Y")
    return (stand @ mathutils.Quaternion((0, 0, 1), turn)).to_euler()
