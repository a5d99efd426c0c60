import subprocess
import sys

HUNG = """
import sys, threading
from emberline.service.last_resort import end_in_any_case
end_in_any_case(0.1)
if sys.argv[1] == "hung":
    threading.Event().wait() if sys.argv[2] == "main" else threading.Thread(target=threading.Event().wait).start()
"""


def ended(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", HUNG, *words], capture_output=True, text=True, timeout=50.0)


def test_a_program_whose_thread_hangs_is_ended_by_force_and_says_so() -> None:
    for place in ("main", "thread"):
        done = ended("hung", place)
        assert done.returncode == 6
        assert "ended by force" in done.stderr


def test_a_program_that_ends_by_itself_is_left_alone() -> None:
    done = ended("sound")
    assert (done.returncode, done.stderr) == (0, "")
