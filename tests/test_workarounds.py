"""Doors of other packages that are not public: a test fails here, in words, when one changes."""

from __future__ import annotations

import importlib.metadata
import subprocess
import sys

import pytest


def test_jsonschema_still_looks_for_the_grammar_and_does_without_it():
    looks = "import jsonschema, sys; print('rfc3987_syntax' in sys.modules)"
    skips = (
        "from flipkit.workarounds import skip_address_grammar as skip; skip(); "
        "import jsonschema, sys; print('rfc3987_syntax' in sys.modules); "
        "jsonschema.validate(3, {'type': 'integer'})"
    )
    told = [
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip()
        for code in (looks, skips)
    ]
    assert told == ["True", "False"], "jsonschema changed how it finds rfc3987_syntax: see flipkit.workarounds"


@pytest.mark.parametrize(
    ("place", "names"),
    [
        ("papermill.engines:NBClientEngine", ["execute_managed_notebook"]),
        ("papermill.engines:papermill_engines", ["register"]),
        ("jupyter_client.provisioning:LocalProvisioner", ["launch_kernel", "pre_launch"]),
        ("jupyter_client:AsyncKernelManager", ["kernel_spec_manager"]),
    ],
)
def test_the_interfaces_that_warm_kernels_stand_on_are_there(place, names):
    module, _, thing = place.partition(":")
    found = getattr(__import__(module, fromlist=[thing]), thing)
    missing = [name for name in names if not hasattr(found, name)]
    version = importlib.metadata.version(module.partition(".")[0].replace("_", "-"))
    assert not missing, f"{place} of version {version} has no {missing}: see flipkit/pack/run.py"
