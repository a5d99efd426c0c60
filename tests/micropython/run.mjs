// Runs a script on MicroPython: files and the script come as JSON on standard input, its output goes to standard output.
import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const { loadMicroPython } = await import(pathToFileURL(process.argv[2]).href);
const { files, script } = JSON.parse(readFileSync(0, "utf8"));
const board = await loadMicroPython({ stdout: (line) => console.log(line), linebuffer: true });
for (const [path, text] of Object.entries(files)) {
  const folders = path.split("/").slice(1, -1);
  folders.forEach((_, depth) => {
    const folder = "/" + folders.slice(0, depth + 1).join("/");
    if (!board.FS.analyzePath(folder).exists) board.FS.mkdir(folder);
  });
  board.FS.writeFile(path, text);
}
try {
  board.runPython("import sys\nsys.path.append('/board')");
  board.runPython(script);
} catch (error) {
  // Without this, Node.js would print the module's one long line of source.
  console.error(error.message);
  process.exitCode = 1;
}
