"""Export trained networks to FOLDER/scene_network.onnx + scene_network.json, checked against OpenCV's dnn.

    python models/export.py one.pt [more.pt] --version 2                              the network that ships
    python models/export.py held.pt [more.pt] --version 2 --folder models/held_back   the one for tests

Several files are runs that went on from the same weights: their weights are averaged. Weights are stored as half
precision where they have two or more dimensions (batch normalisation is folded first) and cast on loading, so the file
is half as large and the arithmetic stays float32. Needs torch, onnx, OpenCV.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
from pathlib import Path

import cv2
import numpy as np
import onnx
import torch
from network import MIX_BASIS, SceneNetwork
from onnx import TensorProto, helper, numpy_helper
from torch import nn
from train import load_network

CLASSES = ("clear_sky", "cloud", "water", "tree", "grass", "structure", "ground", "other", "snow")


def fold_normalisation(model: nn.Module) -> None:
    """Fold every BatchNorm into the convolution right before it."""
    for module in model.modules():
        if not isinstance(module, nn.Sequential):
            continue
        before = None
        for name, layer in list(module.named_children()):
            if isinstance(layer, nn.BatchNorm2d) and isinstance(before, nn.Conv2d):
                gain = layer.weight / torch.sqrt(layer.running_var + layer.eps)
                old = before.bias if before.bias is not None else torch.zeros_like(layer.running_mean)
                before.weight = nn.Parameter(before.weight * gain.view(-1, 1, 1, 1))
                before.bias = nn.Parameter((old - layer.running_mean) * gain + layer.bias)
                module._modules[name] = nn.Identity()
            before = layer


def fold_padding(graph: onnx.GraphProto) -> None:
    """Give each padded convolution its padding as an attribute and drop what worked the padding out.

    The exporter spells `SamePad` as a dozen nodes that compute a constant. OpenCV 4 cannot read them, and OpenCV 5
    copies the picture for them; as an attribute of the convolution both are gone and the answer is the same.
    """
    pads = {node.output[0]: node for node in graph.node if node.op_type == "Pad"}
    for node in graph.node:
        if node.op_type != "Conv" or node.input[0] not in pads:
            continue
        kernel, stride = (next(a.ints[0] for a in node.attribute if a.name == k) for k in ("kernel_shape", "strides"))
        total = kernel - stride  # as in network.SamePad
        old = [a for a in node.attribute if a.name in ("pads", "auto_pad")]
        for attribute in old:
            node.attribute.remove(attribute)
        before, after = total // 2, total - total // 2
        node.attribute.append(helper.make_attribute("pads", [before, before, after, after]))
        node.input[0] = pads[node.input[0]].input[0]
    needed = {output.name for output in graph.output}
    for node in reversed(list(graph.node)):
        if needed.isdisjoint(node.output):
            graph.node.remove(node)
        else:
            needed.update(node.input)


def state_example_size(graph: onnx.GraphProto, sizes: dict[str, tuple[int, int]]) -> None:
    """Put numbers in place of free heights and widths: OpenCV 4 reads no others, and both take any size afterwards."""
    for value in (*graph.input, *graph.output):
        for dimension, size in zip(value.type.tensor_type.shape.dim[2:], sizes[value.name], strict=True):
            dimension.ClearField("dim_param")
            dimension.dim_value = size
    del graph.value_info[:]


def export(model: nn.Module, target: Path) -> None:
    """Write the ONNX file; height and width may be any multiple of 32 when it runs."""
    torch.onnx.export(
        model,
        (torch.rand(1, 3, 384, 512),),
        str(target),
        opset_version=17,
        dynamo=False,
        input_names=["pixels"],
        output_names=["probability", "mix"],
        dynamic_axes={
            "pixels": {2: "height", 3: "width"},
            "probability": {2: "h4", 3: "w4"},
            "mix": {2: "h2", 3: "w2"},
        },
    )
    graph = onnx.load(str(target))
    fold_padding(graph.graph)
    state_example_size(graph.graph, {"pixels": (384, 512), "probability": (96, 128), "mix": (192, 256)})
    casts = []
    for tensor in graph.graph.initializer:
        array = numpy_helper.to_array(tensor)
        if array.dtype == np.float32 and array.ndim > 1 and array.size > 1000:
            name = tensor.name
            tensor.CopyFrom(numpy_helper.from_array(array.astype(np.float16), name + "_half"))
            casts.append(helper.make_node("Cast", [name + "_half"], [name], to=TensorProto.FLOAT))
    for node in reversed(casts):
        graph.graph.node.insert(0, node)
    onnx.checker.check_model(graph)
    onnx.save(graph, str(target))


def compare(model: nn.Module, target: Path) -> float:
    """Largest difference between torch and OpenCV over several shapes, one loaded net for all."""
    net = cv2.dnn.readNetFromONNX(str(target))
    worst = 0.0
    for height, width in ((384, 512), (512, 384), (512, 512), (288, 512), (96, 512), (512, 64), (384, 512)):
        x = torch.rand(1, 3, height, width, generator=torch.Generator().manual_seed(height + width))
        x = nn.functional.avg_pool2d(nn.functional.pad(x, (4, 4, 4, 4), mode="reflect"), 9, 1)
        with torch.no_grad():
            p, m = model(x)
        net.setInput(x.numpy(), "pixels")
        q, n = net.forward(["probability", "mix"])
        a, b = float(np.abs(q - p.numpy()).max()), float(np.abs(n - m.numpy()).max())
        print(f"{height} x {width}: probability {a:.1e}, mix {b:.1e}, shapes {q.shape} {n.shape}")
        worst = max(worst, a, b)
    return worst


def averaged(files: list[Path]) -> tuple[SceneNetwork, str, str]:
    """The network of the mean weights, its encoder and what it has not seen."""
    states = [torch.load(path, map_location="cpu", weights_only=True) for path in files]
    if len({(s["encoder"], s["not_seen"]) for s in states}) > 1:
        sys.exit("these runs differ in encoder or in what they have seen; average runs of one kind")
    total = [load_network(path, "cpu").state_dict() for path in files]
    mean = {k: sum(t[k] for t in total) / len(total) if v.is_floating_point() else v for k, v in total[0].items()}
    model = SceneNetwork(states[0]["encoder"]).eval()
    model.load_state_dict(mean)
    return model, str(states[0]["encoder"]), str(states[0]["not_seen"])


def main() -> None:
    """Export, compare with OpenCV, and write the card."""
    parser = argparse.ArgumentParser(description="Export a scene network.")
    parser.add_argument("weights", nargs="+", type=Path, help="FILE.pt; several: their mean weights")
    parser.add_argument("--folder", type=Path, default=Path(__file__).parent)
    parser.add_argument("--version", default="1")
    args = parser.parse_args()
    model, encoder, not_seen = averaged(args.weights)
    fold_normalisation(model)
    with torch.no_grad():  # also: enlarging is spelled otherwise in training
        for p in model.parameters():
            if p.dim() > 1 and p.numel() > 1000:
                p.copy_(p.half().float())
    args.folder.mkdir(parents=True, exist_ok=True)
    target = args.folder / "scene_network.onnx"
    with torch.no_grad():
        export(model, target)
    worst = compare(model, target)
    if worst > 1e-3:
        sys.exit(f"{target.name}: OpenCV and torch differ by {worst:.2g}; limit 1e-3")
    data = target.read_bytes()
    digest = hashlib.sha256(data).hexdigest()
    card = {
        "schema": "irpreview/scene-network/3",
        "model_id": f"scene-{encoder}-v{args.version}-{digest[:8]}",
        "weights": {"file": target.name, "sha256": digest, "bytes": len(data), "not_seen": not_seen},
        "classes": list(CLASSES),
        "mix_basis": MIX_BASIS,
        "input": {
            "name": "pixels",
            "range": "sRGB display values / 255, RGB, 1 x 3 x height x width; normalised inside",
            "long_side": 512,
            "multiple": 32,
        },
        "outputs": {"probability": "1 x 9 x height/4 x width/4", "mix": "1 x 5 x height/2 x width/2"},
        "version": args.version,
        "terms": "trained in part on photographs for research only; see models/README.md",
    }
    (args.folder / "scene_network.json").write_text(json.dumps(card, indent=1) + "\n")
    print(f"{card['model_id']}: {len(data) / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
