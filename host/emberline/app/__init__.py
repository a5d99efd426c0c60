"""The parts wired together: what each command does, without a word on the screen."""

from emberline.app.exporting import export_trial
from emberline.app.importing import import_burn
from emberline.app.keeping import check_store, health_of, is_store, make_backup
from emberline.app.live import address_of, live_summary, serve
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
    "address_of",
    "analysis_of",
    "channels_of",
    "check_store",
    "export_trial",
    "find_trial",
    "health_of",
    "import_burn",
    "is_store",
    "listed",
    "live_summary",
    "make_backup",
    "serve",
    "started",
    "summary_of",
    "write_bench_file",
    "write_text",
]
