"""Water: a plane, Fresnel mirror (n = 1.333) over a dark body, calm and ruffled patches; foam for the sea."""

import numpy as np
from reflectance import mineral
from stage import make_mesh


def surface(stage, body="water_body", ripple=0.5, size=1.0, foam=0.0):
    """Material of a water surface that mirrors by Fresnel, rippled, with foam where asked."""
    pair = mineral(body)

    def build(g):
        wide = g.stretched(g.position, (0.6, 1.5, 1.0))
        small = g.noise(wide, 0.9 * size, 3, 0.5, 0, 1)
        swell = g.noise(wide, 0.17 * size, 2, 0.5, 0, 1)
        height = g.math("ADD", small, g.math("MULTIPLY", swell, 2.5))
        ruffled = g.noise(g.stretched(g.position, (0.35, 1.0, 1.0)), 0.03 * size, 4, 0.6, 0.42, 0.6)
        strength = g.math("ADD", 0.12 * ripple, g.math("MULTIPLY", ruffled, ripple))
        bump = g.node("ShaderNodeBump", {"Strength": strength, "Distance": 0.12 / size, "Height": height}).outputs[0]
        colour = g.mix(g.band, pair[0], pair[1])
        if foam:
            crest = g.math(
                "MULTIPLY", g.noise(g.stretched(g.position, (0.25, 1.6, 1.0)), 0.22 * size, 6, 0.62, 0.655, 0.70), foam
            )
            colour = g.mix(crest, colour, (0.62, 0.64, 0.66))
        body_shader = g.node("ShaderNodeBsdfDiffuse", {"Color": colour}).outputs[0]
        mirror = g.node("ShaderNodeBsdfGlossy", {"Color": (1, 1, 1), "Roughness": 0.02, "Normal": bump}).outputs[0]
        fresnel = g.node("ShaderNodeFresnel", {"IOR": 1.333, "Normal": bump}).outputs[0]
        return g.node("ShaderNodeMixShader", {0: fresnel, 1: body_shader, 2: mirror}).outputs[0]

    return stage.material("water", build, 3)


def plane(stage, material, x0, x1, y0, y1, level=0.0):
    """Put a level water surface on the stage [m]."""
    corners = np.array([[x0, y0, level], [x1, y0, level], [x1, y1, level], [x0, y1, level]], float)
    stage.put(make_mesh("water", corners, np.array([[0, 1, 2, 3]]), material))
