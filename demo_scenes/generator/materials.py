"""Surfaces: each holds its visible and its infrared colour; one switch on the stage changes them all."""

from reflectance import leaf, mineral, scaled

BUMP_DISTANCE_M = 0.02
FLINT = ((0.10, 0.10, 0.10), (0.12, 0.12, 0.12))  # from memory


def _two_bands(g, factor, dark, light):
    """Colour between two materials, in the band that the stage is set to."""
    visible = g.mix(factor, dark[0], light[0])
    infrared = g.mix(factor, dark[1], light[1])
    return g.mix(g.band, visible, infrared)


def foliage(stage, name, kinds, class_id, gloss=0.022, spread=0.22):
    """Leaves, needles or blades: they reflect and let through; two kinds are mixed per leaf, plant and place."""
    first, second = (leaf(kind) for kind in kinds)

    def build(g):
        patch = g.noise(g.position, 0.08, 1)
        factor = g.blend(0.4, g.blend(0.5, g.tint, g.instance), patch)
        reflected = _two_bands(g, factor, first[0], second[0])
        passed = _two_bands(g, factor, first[1], second[1])
        shade = g.grey(g.math("ADD", 1.0 - spread, g.math("MULTIPLY", g.tint, 2 * spread)))
        diffuse = g.node("ShaderNodeBsdfDiffuse", {"Color": g.mix(1.0, reflected, shade, "MULTIPLY")})
        through = g.node("ShaderNodeBsdfTranslucent", {"Color": g.mix(1.0, passed, shade, "MULTIPLY")})
        both = g.node("ShaderNodeAddShader", {0: diffuse.outputs[0], 1: through.outputs[0]})
        glossy = g.node("ShaderNodeBsdfGlossy", {"Color": (0.8, 0.8, 0.8), "Roughness": 0.5})
        return g.node("ShaderNodeMixShader", {0: gloss, 1: both.outputs[0], 2: glossy.outputs[0]}).outputs[0]

    return stage.material(name, build, class_id)


def dry_blades(stage, name, kinds, class_id):
    """Straw and dead stems: a mineral-like spectrum, a third of the light passes."""
    dark, light = (mineral(kind) for kind in kinds)

    def build(g):
        factor = g.blend(0.4, g.blend(0.5, g.tint, g.instance), g.noise(g.position, 0.1, 1))
        colour = _two_bands(g, factor, dark, light)
        diffuse = g.node("ShaderNodeBsdfDiffuse", {"Color": colour})
        through = g.node("ShaderNodeBsdfTranslucent", {"Color": g.mix(1.0, colour, (0.45, 0.45, 0.45), "MULTIPLY")})
        return g.node("ShaderNodeAddShader", {0: diffuse.outputs[0], 1: through.outputs[0]}).outputs[0]

    return stage.material(name, build, class_id)


def stone(stage, name, kinds, class_id, scale=1.0, bump_m=BUMP_DISTANCE_M, lichen=0.0, streaks=0.0):
    """Rock, masonry, plaster, bark: mottled between two minerals, a tint per stone, lichen and rain streaks on top."""
    dark, light = (mineral(kind) for kind in kinds)

    def build(g):
        coarse = g.noise(g.position, 0.9 * scale, 4, 0.65)
        fine = g.noise(g.position, 7 * scale, 5, 0.7)
        factor = g.blend(0.35, g.blend(0.5, coarse, fine), g.instance)
        colour = _two_bands(g, factor, dark, light)
        if lichen:
            where = g.math("MULTIPLY", g.noise(g.position, 3.3 * scale, 5, 0.7, 0.55, 0.68), lichen)
            colour = g.mix(where, colour, _two_bands(g, 0.0, mineral("lichen"), mineral("lichen")))
        if streaks:
            drip = g.noise(g.stretched(g.position, (1.3, 1.3, 0.12)), 1.1, 6, 0.6, 0.5, 0.75)
            colour = g.mix(g.math("MULTIPLY", drip, streaks), colour, _two_bands(g, 0.0, dark, dark))
        tint = g.grey(g.math("ADD", 0.74, g.math("MULTIPLY", g.tint, 0.46)))
        height = g.math("ADD", fine, g.noise(g.position, 28 * scale, 3, 0.7))
        bump = g.node("ShaderNodeBump", {"Strength": 0.9, "Distance": bump_m, "Height": height})
        shaded = g.mix(1.0, colour, tint, "MULTIPLY")
        return g.node("ShaderNodeBsdfDiffuse", {"Color": shaded, "Roughness": 0.6, "Normal": bump.outputs[0]}).outputs[
            0
        ]

    return stage.material(name, build, class_id)


def plain(stage, name, kind, class_id, gloss=0.0, factor=1.0):
    """One colour, with a shine if wanted (glass, paint)."""
    pair = scaled(mineral(kind), factor)

    def build(g):
        diffuse = g.node("ShaderNodeBsdfDiffuse", {"Color": g.mix(g.band, pair[0], pair[1])}).outputs[0]
        if not gloss:
            return diffuse
        glossy = g.node("ShaderNodeBsdfGlossy", {"Color": (1, 1, 1), "Roughness": 0.08}).outputs[0]
        fresnel = g.node("ShaderNodeFresnel", {"IOR": 1.45}).outputs[0]
        return g.node("ShaderNodeMixShader", {0: g.math("MULTIPLY", fresnel, gloss), 1: diffuse, 2: glossy}).outputs[0]

    return stage.material(name, build, class_id)


def _bedded(g, colour, dark, strength):
    """Rock with level beds of a darker shade, thin flinty lines in it and streaks where rain brings soil down."""
    bent = g.node("ShaderNodeVectorMath", {0: g.position, 1: g.grey(g.noise(g.position, 0.05, 3, 0.6))}).outputs[0]
    beds = g.noise(g.stretched(bent, (0.012, 0.012, 0.55)), 1.0, 5, 0.65, 0.46, 0.62)
    lines = g.noise(g.stretched(bent, (0.015, 0.015, 1.9)), 1.0, 2, 0.5, 0.60, 0.64)
    streaks = g.noise(g.stretched(g.position, (0.35, 0.35, 0.035)), 1.0, 6, 0.65, 0.53, 0.70)
    shade = _two_bands(g, 0.0, tuple(tuple(0.62 * v for v in band) for band in dark), dark)
    soil = _two_bands(g, 0.0, mineral("soil_light"), mineral("soil_light"))
    colour = g.mix(g.math("MULTIPLY", beds, 0.55 * strength), colour, shade)
    colour = g.mix(g.math("MULTIPLY", lines, 0.75 * strength), colour, _two_bands(g, 0.0, FLINT, FLINT))
    return g.mix(g.math("MULTIPLY", streaks, 0.40 * strength), colour, soil)


def _wetted(g, surface, soil, wet_m):
    """A film of water over the low soil: Fresnel (n = 1.333), softened by ripple marks, thin where drained."""
    up = g.node("ShaderNodeSeparateXYZ", {0: g.position}).outputs[2]
    uneven = g.noise(g.position, 0.35, 5, 0.6)
    level = g.math("SUBTRACT", up, g.math("MULTIPLY", uneven, 0.5 * (wet_m[1] - wet_m[0])))
    film = g.node(
        "ShaderNodeMapRange",
        {"Value": level, "From Min": wet_m[0], "From Max": wet_m[1], "To Min": 0.5, "To Max": 0.03},
    ).outputs[0]
    marks = g.noise(g.stretched(g.position, (2.5, 9.0, 1.0)), 1.0, 4, 0.6, 0, 1)
    normal = g.node("ShaderNodeBump", {"Strength": 0.3, "Distance": 0.05, "Height": marks}).outputs[0]
    fresnel = g.node("ShaderNodeFresnel", {"IOR": 1.333, "Normal": normal}).outputs[0]
    mirror = g.node("ShaderNodeBsdfGlossy", {"Color": (1, 1, 1), "Roughness": 0.35, "Normal": normal}).outputs[0]
    share = g.math("MULTIPLY", g.math("MULTIPLY", fresnel, film), soil)
    return g.node("ShaderNodeMixShader", {0: share, 1: surface, 2: mirror}).outputs[0]


def ground(stage, palette, beds=0.0, wet_m=None, snow=False):
    """The terrain: meadow, rock, soil and far wood by vertex weights; palette gives two materials for each.

    Weights (R, G, B, A) = meadow, rock, soil, wood. Classes follow the weights: meadow 5, rock and soil 7, wood 4.
    beds: strength of the level beds and the rain streaks in the rock. wet_m: (height where a film of water lies on the
    soil, height where it has drained off) [m]; the film mirrors the sky at a flat angle, as on mud after the tide.
    snow: what is left of the weights is snow (9), not meadow.
    """
    pairs = {key: tuple(mineral(kind) for kind in kinds) for key, kinds in palette.items()}

    def build(g):
        attribute = g.node("ShaderNodeAttribute", attribute_name="weights")
        split = g.node("ShaderNodeSeparateColor", {0: attribute.outputs["Color"]})
        _, rock, soil = split.outputs
        wood = attribute.outputs["Alpha"]
        broad, middle, fine = (
            g.noise(g.position, 0.05, 3, 0.6),
            g.noise(g.position, 1.7, 5, 0.65),
            g.noise(g.position, 14, 3, 0.7),
        )
        soft, rough = g.blend(0.5, broad, middle), g.blend(0.5, middle, fine)
        colour = None
        for key, weight in (("meadow", None), ("rock", rock), ("soil", soil), ("wood", wood)):
            layer = _two_bands(g, soft if key in ("meadow", "wood") else rough, *pairs[key])
            if key == "rock" and beds:
                layer = _bedded(g, layer, pairs[key][0], beds)
            colour = layer if colour is None else g.mix(weight, colour, layer)
        small = g.math("ADD", g.math("MULTIPLY", middle, 0.5), g.math("MULTIPLY", fine, 0.12))
        bump = g.node("ShaderNodeBump", {"Strength": 0.8, "Distance": 0.2, "Height": small}).outputs[0]
        crags = g.noise(g.position, 0.045, 6, 0.68, 0, 1)
        bump = g.node("ShaderNodeBump", {"Strength": rock, "Distance": 14.0, "Height": crags, "Normal": bump}).outputs[
            0
        ]
        surface = g.node("ShaderNodeBsdfDiffuse", {"Color": colour, "Roughness": 0.5, "Normal": bump}).outputs[0]
        if wet_m:
            surface = _wetted(g, surface, soil, wet_m)
        bare = g.math("MULTIPLY", g.math("ADD", rock, soil), g.math("SUBTRACT", 1.0, wood))
        bare = g.math("MINIMUM", bare, 1.0)
        meadow = g.math("MULTIPLY", g.math("SUBTRACT", 1.0, bare), g.math("SUBTRACT", 1.0, wood))
        first = g.node("ShaderNodeCombineColor", {0: wood, 1: 0.0 if snow else meadow, 2: 0.0}).outputs[0]
        second = g.node("ShaderNodeCombineColor", {0: bare, 1: 0.0, 2: meadow if snow else 0.0}).outputs[0]
        return surface, first, second

    return stage.material("ground", build)
