"""Packages that bring exporters, laid into a folder as an installer would leave them."""

from pathlib import Path


def bring(folder: Path, name: str, module: str, code: str) -> Path:
    """Lay a package with one exporter into ``folder``, to be put on the path of modules."""
    folder.mkdir(exist_ok=True)
    (folder / f"{module}.py").write_text(code)
    info = folder / f"{module}-1.0.dist-info"
    info.mkdir()
    # Core metadata and entry points (Python Packaging User Guide, specifications of those names).
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {module}\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text(f"[takemill.exporters]\n{name} = {module}:EXTRA\n")
    return folder
