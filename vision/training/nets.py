"""What the networks share that are learned here: the extra libraries, and the file written.

In here: loading PyTorch and ONNX, which only learning needs, and an ONNX graph put together
node by node.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    Shape = Sequence[int | str]

__all__ = ["Graph", "load_torch"]


def load_torch() -> Any:  # noqa: ANN401 - heavy, and only there for learning
    """Return PyTorch.

    Raises
    ------
    RuntimeError
        The extra ``train`` is not installed.
    """
    try:
        import torch  # noqa: PLC0415
    except ImportError as error:
        raise RuntimeError('learning needs the extra "train"') from error
    return torch


class Graph:
    """An ONNX graph in the making; ``stored`` are its weights and constants by name.

    Weights (``NAME.w``) are written in half precision, which halves the file and rounds them
    by a two-thousandth at most; they are made whole again when the file is loaded.

    Raises
    ------
    RuntimeError
        The extra ``train`` is not installed.
    """

    def __init__(self, name: str, stored: Mapping[str, npt.NDArray[Any]]) -> None:
        try:
            import onnx  # noqa: PLC0415 - only for learning
            from onnx import helper, numpy_helper  # noqa: PLC0415
        except ImportError as error:
            raise RuntimeError('writing the network needs the extra "train"') from error
        self._onnx, self._helper, self._name = onnx, helper, name
        self._nodes: list[Any] = []
        self._stored = []
        for key, value in stored.items():
            name, array = key, np.asarray(value)
            if key.endswith(".w"):
                name, array = f"{key}.half", array.astype(np.float16)
                self.put("Cast", [name], [key], to=onnx.TensorProto.FLOAT)
            self._stored.append(numpy_helper.from_array(array, name))

    def put(self, kind: str, into: list[str], out: list[str] | None = None, **more: Any) -> str:  # noqa: ANN401
        """Add a node; return the name of what it gives first."""
        names = out or [f"{kind.lower()}{len(self._nodes)}"]
        self._nodes.append(self._helper.make_node(kind, into, names, **more))
        return names[0]

    def conv(self, name: str, x: str, *, side: int, step: int = 1, dilation: int = 1) -> str:
        """Add a convolution by the stored ``NAME.w`` and ``NAME.b``; sides keep, or halve."""
        return self.put(
            "Conv",
            [x, f"{name}.w", f"{name}.b"],
            kernel_shape=[side] * 2,
            strides=[step] * 2,
            dilations=[dilation] * 2,
            pads=[dilation * ((side - 1) // 2)] * 4,
        )

    def relu(self, x: str) -> str:
        """Add what leaves out all below 0."""
        return self.put("Relu", [x])

    def twice(self, x: str, factors: str) -> str:
        """Add what makes a picture twice as fine; ``factors`` names the stored (1, 1, 2, 2)."""
        return self.put(
            "Resize",
            [x, "", factors],
            mode="nearest",
            coordinate_transformation_mode="asymmetric",
            nearest_mode="floor",
        )

    def file(self, shown: Shape, told: Mapping[str, Shape]) -> bytes:
        """Return the file: "shown" of the shape given to the named answers."""
        value, kind = self._helper.make_tensor_value_info, self._onnx.TensorProto.FLOAT
        graph = self._helper.make_graph(
            self._nodes,
            self._name,
            [value("shown", kind, list(shown))],
            [value(name, kind, list(shape)) for name, shape in told.items()],
            self._stored,
        )
        model = self._helper.make_model(
            graph, opset_imports=[self._helper.make_opsetid("", 17)]
        )
        model.ir_version = 8
        self._onnx.checker.check_model(model)
        return bytes(model.SerializeToString())
