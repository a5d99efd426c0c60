"""The parts wired together: what each command does, without a word on the screen."""

from emberline.app.exporting import export_trial
from emberline.app.importing import import_burn
from emberline.app.live import live_summary, serve
from emberline.app.output import OutputError, write_bench_file, write_text
from emberline.app.stored import LAST, STORE_NAME, analysis_of, channels_of, find_trial, started
from emberline.app.summaries import Document, Stage, Summary, listed, summary_of

__all__ = [
    "LAST",
    "STORE_NAME",
    "Document",
    "OutputError",
    "Stage",
    "Summary",
    "analysis_of",
    "channels_of",
    "export_trial",
    "find_trial",
    "import_burn",
    "listed",
    "live_summary",
    "serve",
    "started",
    "summary_of",
    "write_bench_file",
    "write_text",
]
