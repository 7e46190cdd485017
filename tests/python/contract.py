"""Generates the contract's client with grpcio-tools, as any Python program would."""

import importlib
import sys
from pathlib import Path

import grpc_tools
from grpc_tools import protoc

ROOT = Path(__file__).resolve().parents[2]
PROTO = ROOT / "proto"


def generate(folder: Path) -> None:
    """Writes the client of every contract file into a folder and puts that on the import path."""
    files = sorted(str(path.relative_to(PROTO)) for path in (PROTO / "forenoon" / "v1").glob("*.proto"))
    well_known = Path(grpc_tools.__file__).parent / "_proto"
    status = protoc.main(
        [
            "protoc",
            f"--proto_path={PROTO}",
            f"--proto_path={well_known}",
            f"--python_out={folder}",
            f"--grpc_python_out={folder}",
            *files,
        ]
    )
    if status != 0:
        raise SystemExit(f"grpcio-tools refuses the contract: {status}")
    sys.path.insert(0, str(folder))


class Contract:
    """All generated messages, enumerations and stubs of forenoon.v1 under one name."""

    FILES = ("measures", "work", "branch", "site", "unit", "crew", "job", "plan", "tag_out", "visit", "import")

    def __init__(self) -> None:
        self.descriptors = []
        for name in self.FILES:
            for kind in ("pb2", "pb2_grpc"):
                module = importlib.import_module(f"forenoon.v1.{name}_{kind}")
                if kind == "pb2":
                    self.descriptors.append(module.DESCRIPTOR)
                for word, value in vars(module).items():
                    if not word.startswith("_") and word != "DESCRIPTOR":
                        setattr(self, word, value)

    def service_names(self) -> set[str]:
        """The full names of the contract's services."""
        return {
            service.full_name
            for descriptor in self.descriptors
            for service in descriptor.services_by_name.values()
        }
