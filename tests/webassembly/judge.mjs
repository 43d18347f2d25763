// Runs judge.py in WebAssembly: node judge.mjs ROOT PACKAGES
// ROOT is the checkout, PACKAGES the site-packages in which the program's own dependencies lie; both are only read.
import { loadPyodide } from "pyodide";

const [root, packages] = process.argv.slice(2);
const python = await loadPyodide({ stdout: (line) => console.log(line), stderr: (line) => console.error(line) });
python.mountNodeFS("/checkout", root);
python.mountNodeFS("/packages", packages);
python.runPython(`
import os, runpy, sys
sys.dont_write_bytecode = True
sys.path[:0] = ["/checkout/core", "/checkout/plugins"]
sys.path.append("/packages")
os.chdir("/checkout")
runpy.run_path("tests/webassembly/judge.py", run_name="__main__")
`);
