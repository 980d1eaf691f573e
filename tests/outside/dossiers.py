"""Dossiers read by programs that are not ours: bagit (BagIt), roc-validator (RO-Crate), zipfile.

Takes a folder with *.zip; unpacks each, judges it, and packs it again in the ways that other programs pack. Prints one JSON
object a line. Nothing is fetched: the RO-Crate context comes from the package rocrate and is put where the validator looks
for what it has fetched before.
"""

import io
import json
import os
import subprocess
import sys
import tempfile
import zipfile
from importlib import resources
from pathlib import Path

import bagit
import requests
from requests_cache import CachedSession
from rocrate_validator import services
from rocrate_validator.models import Severity, ValidationSettings
from urllib3 import HTTPResponse

CONTEXT = "https://w3id.org/ro/crate/1.3/context"


class FromPackage(requests.adapters.BaseAdapter):
    """Answers every request with the context that the package rocrate carries."""

    def send(self, request, **_):
        response = requests.Response()
        response.status_code = 200
        response.url = request.url
        response.request = request
        response.headers["Content-Type"] = "application/ld+json"
        text = resources.files("rocrate").joinpath("data/ro-crate.jsonld").read_bytes()
        response.raw = HTTPResponse(
            io.BytesIO(text), headers=dict(response.headers), status=200, preload_content=False, request_url=request.url
        )
        return response

    def close(self):
        pass


def fill_cache(path):
    session = CachedSession(cache_name=str(path), expire_after=-1, backend="sqlite", allowable_methods=("GET",))
    session.mount("https://", FromPackage())
    for accept in ("application/ld+json, application/json;p=0.9, */*;q=0.1", "*/*"):
        session.get(CONTEXT, headers={"Accept": accept})
    session.close()


def crate_faults(folder, cache):
    settings = ValidationSettings(
        rocrate_uri=str(folder),
        profile_identifier="ro-crate-1.3",
        requirement_severity=Severity.REQUIRED,
        cache_path=cache,
        offline=True,
    )
    result = services.validate(settings)
    return [f"{issue.check.identifier}: {issue.message}" for issue in result.get_issues()]


def bag_fault(folder):
    try:
        bagit.Bag(str(folder)).validate()
        return None
    except bagit.BagError as error:
        return str(error)


def pack_again(folder, out, how):
    """Packs an unpacked dossier as other programs do."""
    if how == "zip":
        subprocess.run(["zip", "-q", "-r", str(out), folder.name], cwd=folder.parent, check=True)
        return
    if how == "zip-streamed":
        with open(out, "wb") as file:
            done = subprocess.run(["zip", "-q", "-r", "-", folder.name], cwd=folder.parent, check=True, stdout=subprocess.PIPE)
            file.write(done.stdout)
        return
    kind = zipfile.ZIP_STORED if how == "stored" else zipfile.ZIP_DEFLATED
    files = sorted(folder.rglob("*"), reverse=how == "reversed")
    with zipfile.ZipFile(out, "w", kind) as archive:
        for path in files:
            name = str(path.relative_to(folder.parent))
            if how == "zip64" and path.is_file():
                with archive.open(name, "w", force_zip64=True) as entry:
                    entry.write(path.read_bytes())
            else:
                archive.write(path, name)


class Unseekable(io.RawIOBase):
    """A pipe: what is written cannot be gone back to, so sizes stand behind the data."""

    def __init__(self, path):
        self.file = open(path, "wb")

    def writable(self):
        return True

    def write(self, data):
        return self.file.write(data)

    def close(self):
        self.file.close()
        super().close()


def pack_through_a_pipe(folder, out):
    with Unseekable(out) as pipe, zipfile.ZipFile(pipe, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(folder.rglob("*")):
            if path.is_file():
                archive.write(path, str(path.relative_to(folder.parent)))


def main():
    here = Path(sys.argv[1]).resolve()
    again = here / "again"
    again.mkdir(exist_ok=True)
    have_zip = subprocess.run(["which", "zip"], capture_output=True).returncode == 0
    with tempfile.TemporaryDirectory() as scratch:
        cache = Path(scratch) / "cache"
        fill_cache(cache)
        tried = False
        for dossier in sorted(here.glob("*.zip")):
            folder = Path(scratch) / dossier.stem
            with zipfile.ZipFile(dossier) as archive:
                bad = archive.testzip()
                names = archive.namelist()
                archive.extractall(folder)
            (top,) = folder.iterdir()
            crate = crate_faults(top / "data", cache)
            metadata = top / "data" / "ro-crate-metadata.json"
            text = metadata.read_text()
            crate_broken = None
            if not tried:
                # Once: the validator must be one that finds something.
                tried = True
                metadata.write_text(text.replace('"license"', '"licence"'))
                crate_broken = len(crate_faults(top / "data", cache))
                metadata.write_text(text)
            bag = bag_fault(top)
            ways = ["deflated", "stored", "zip64", "reversed", "pipe"] + (["zip", "zip-streamed"] if have_zip else [])
            for how in ways:
                out = again / f"{dossier.stem}.{how}.zip"
                out.unlink(missing_ok=True)
                if how == "pipe":
                    pack_through_a_pipe(top, out)
                else:
                    pack_again(top, out, how)
            print(
                json.dumps(
                    {
                        "dossier": dossier.name,
                        "unpacks": bad is None,
                        "sorted": names == sorted(names),
                        "bag": bag,
                        "crate": crate,
                        "crate_without_licence": crate_broken,
                        "ways": ways,
                        "entities": len(json.loads(text)["@graph"]),
                    }
                )
            )


if __name__ == "__main__":
    os.environ.setdefault("NO_COLOR", "1")
    main()
