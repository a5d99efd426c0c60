"""What mkdocs asks while it builds the site.

Pages keep their places in the project, and link to each other as they lie there: those of `host/docs`, and those that
stand beside what they describe. Files to which a page links go along. A line `<!-- made from the code: NAME -->` in a
page becomes the table of that name, and so does what stands before it on the line, for who reads the page as a file.
"""

import posixpath
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path

from mkdocs.config.defaults import MkDocsConfig
from mkdocs.structure.files import File, Files
from mkdocs.structure.pages import Page

from documentation import commands, keys, python, words

ROOT = Path(__file__).parents[2]
OWN = "host/docs/"
BESIDE = ("deploy/**/*.md", "firmware_protocol/**/*.md", "host/decisions/*.md", "host/worked_examples/*.md")
"""Pages that stand beside what they describe."""
FRONT = ("README.md", "DEVELOPERS.md")
FOR_DEVELOPERS = ("DEVELOPERS.md", "host/decisions/", "host/worked_examples/")
PLACEHOLDER = re.compile(r"^.*<!-- made from the code: ([\w -]+) -->$", re.MULTILINE)
LINK = re.compile(r"\]\(([^)#\s]+)[^)]*\)")

MADE: Mapping[str, Callable[[], str]] = {
    "commands": commands.commands,
    "overview of commands": commands.overview,
    "exit codes": commands.exit_codes,
    "plan": keys.plan_keys,
    "python": python.python,
    "bench file": keys.bench_keys,
    "results": words.results,
    "roles": words.roles,
    "alarms": words.alarms,
    "limits of carbon monoxide": words.co_limits,
    "metrics": words.metrics,
    "summary": words.summary,
}


def on_files(files: Files, config: MkDocsConfig) -> Files:
    """Give every page its place in the project as its source, and add those that lie elsewhere."""
    for file in list(files):
        if file.src_dir == config.docs_dir:
            files.remove(file)
    own = [path for path in sorted((ROOT / OWN).rglob("*")) if path.is_file()]
    beside = [path for pattern in BESIDE for path in sorted(ROOT.glob(pattern))]
    pages = [*own, *beside, *(ROOT / name for name in FRONT)]
    for path in dict.fromkeys([*pages, *linked(page for page in pages if page.suffix == ".md")]):
        source = path.relative_to(ROOT).as_posix()
        files.append(File(source, str(ROOT), config.site_dir, config.use_directory_urls, dest_uri=place(source)))
    return files


def on_page_markdown(markdown: str, page: Page, config: MkDocsConfig, files: Files) -> str:
    """Put in the tables made from the code, and let a search find makers' pages before developers'."""
    if page.file.src_uri.startswith(FOR_DEVELOPERS):
        page.meta["search"] = {"boost": 0.1}
    return PLACEHOLDER.sub(lambda found: MADE[found[1]](), markdown)


def place(source: str) -> str:
    """Return where a file lies on the site."""
    place = source.removeprefix(OWN).removeprefix("host/")
    if not place.endswith(".md"):
        return place
    folder, name = posixpath.split(place)
    stem = name.removesuffix(".md")
    return posixpath.join(folder, "index.html" if stem in ("README", "index") else f"{stem}.html")


def linked(pages: Iterable[Path]) -> Iterator[Path]:
    """Yield the project's files to which pages link."""
    for page in pages:
        for target in LINK.findall(page.read_text(encoding="utf-8")):
            path = Path(posixpath.normpath(page.parent / target))
            if path.is_file() and path.is_relative_to(ROOT):
                yield path
