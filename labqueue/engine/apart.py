"""A numba compiler whose functions stay functions: LLVM may not copy them into their callers.

Left to itself, LLVM copies whatever has one caller. For a kernel of many seldom used parts this makes one function of
tens of thousands of instructions, which takes long to compile and to load and leaves few registers to the hot part.
"""

from typing import Any

from numba.core.compiler import CompilerBase, DefaultPassBuilder
from numba.core.compiler_machinery import PassManager, register_pass
from numba.core.lowering import Lower
from numba.core.typed_passes import BaseNativeLowering, NativeLowering


class _Apart(Lower):
    """Lowering that marks the function as not to be inlined."""

    def setup_function(self, fndesc: Any) -> None:
        super().setup_function(fndesc)  # type: ignore[no-untyped-call, unused-ignore]
        self.function.attributes.add("noinline")


@register_pass(mutates_CFG=True, analysis_only=False)  # type: ignore[no-untyped-call, unused-ignore]
class _LowerApart(BaseNativeLowering):
    _name: Any = "lower_apart"

    @property
    def lowering_class(self) -> type[Lower]:
        return _Apart


class ApartCompiler(CompilerBase):
    """The usual pipeline of numba, but for the lowering."""

    def define_pipelines(self) -> list[Any]:
        passes: Any = DefaultPassBuilder
        manager: Any = PassManager
        usual = passes.define_nopython_pipeline(self.state)
        pipeline = manager("apart")
        for step, description in usual.passes:
            pipeline.add_pass(_LowerApart if step is NativeLowering else step, description)
        pipeline.finalize()
        return [pipeline]
