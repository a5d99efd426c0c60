import shutil
import subprocess

import pytest
from click.testing import CliRunner

from emberline.cli import main
from emberline.cli.completing import SHELLS


@pytest.mark.parametrize("shell", SHELLS)
def test_each_shell_gets_its_script(shell: str) -> None:
    done = CliRunner().invoke(main, ["completion", shell])
    assert done.exit_code == 0
    assert f"_EMBERLINE_COMPLETE={shell}_complete" in done.stdout


def test_the_script_is_one_that_bash_takes() -> None:
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("no bash here")
    script = CliRunner().invoke(main, ["completion", "bash"]).stdout
    done = subprocess.run(
        [bash, "-c", script + "complete -p emberline"], capture_output=True, text=True, timeout=30, check=True
    )
    assert "emberline" in done.stdout


def test_another_shell_is_wrong_usage() -> None:
    assert CliRunner().invoke(main, ["completion", "ed"]).exit_code == 2
