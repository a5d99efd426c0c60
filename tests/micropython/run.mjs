// Runs a script on MicroPython. The first line of standard input is JSON, with files and the script; what the script
// prints goes to standard output. Its module `lines` has the other lines of standard input: lines.next().
import { readSync } from "node:fs";
import { pathToFileURL } from "node:url";

let rest = "";
function next() {
  const piece = Buffer.alloc(1 << 16);
  while (!rest.includes("\n")) {
    const count = readSync(0, piece);
    if (count === 0) return "";
    rest += piece.toString("utf8", 0, count);
  }
  const end = rest.indexOf("\n");
  const line = rest.slice(0, end);
  rest = rest.slice(end + 1);
  return line;
}

const { loadMicroPython } = await import(pathToFileURL(process.argv[2]).href);
const { files, script } = JSON.parse(next());
const board = await loadMicroPython({ stdout: (line) => console.log(line), linebuffer: true });
for (const [path, text] of Object.entries(files)) {
  const folders = path.split("/").slice(1, -1);
  folders.forEach((_, depth) => {
    const folder = "/" + folders.slice(0, depth + 1).join("/");
    if (!board.FS.analyzePath(folder).exists) board.FS.mkdir(folder);
  });
  board.FS.writeFile(path, text);
}
board.registerJsModule("lines", { next });
try {
  board.runPython("import sys\nsys.path.append('/board')");
  board.runPython(script);
} catch (error) {
  // Without this, Node.js would print the module's one long line of source.
  console.error(error.message);
  process.exitCode = 1;
}
