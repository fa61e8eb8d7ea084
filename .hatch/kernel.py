"""Build hook: compiles the kernel while `survey` is installed, with the machine's own C compiler or the index's."""

import importlib.util
import os
import platform
import sys
import tempfile
from pathlib import Path

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

ZIG_MACHINES = {"linux": {"x86_64", "aarch64"}, "darwin": {"x86_64", "arm64"}, "win32": {"AMD64", "ARM64"}}
"""Where ziglang has wheels; elsewhere, without a compiler, `survey` is installed without the kernel."""


class KernelHook(BuildHookInterface):
    """Puts the compiled kernel into wheels, and beside its source for editable installs."""

    @property
    def _build(self):
        """The module survey/kernel/build.py, which is not installed yet."""
        spec = importlib.util.spec_from_file_location("build", Path(self.root, "survey", "kernel", "build.py"))
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        return module

    def dependencies(self):
        """A compiler from the package index, only where this machine has none that works."""
        build = self._build
        if self.target_name != "wheel" or os.environ.get(build.SWITCH) == "off":
            return []
        can_have = platform.machine() in ZIG_MACHINES.get(sys.platform, ())
        return [build.ZIG] if can_have and build.compiler() is None else []

    def initialize(self, version, build_data):
        """Compile. Without the kernel all works, only slower, so that a failure is told and no more."""
        build = self._build
        if self.target_name != "wheel":
            return
        if os.environ.get(build.SWITCH) == "off":
            build.LIBRARY.unlink(missing_ok=True)
            return
        editable = version == "editable"
        self._folder = None if editable else tempfile.TemporaryDirectory()
        library = build.LIBRARY if editable else Path(self._folder.name, build.LIBRARY.name)
        problem = build.build(library)
        if problem is not None:
            self.app.display_warning(f"The kernel was not built; survey works without it, slowly. {problem}")
        elif not editable:
            build_data["force_include"][str(library)] = f"survey/kernel/{library.name}"
            build_data["pure_python"] = False
            build_data["tag"] = f"py3-none-{self.build_config.builder.get_best_matching_tag().split('-')[2]}"

    def finalize(self, version, build_data, artifact_path):  # noqa: ARG002  as hatchling has it
        """Clear up."""
        if getattr(self, "_folder", None) is not None:
            self._folder.cleanup()
