// highs times the general linear-programming solver HiGHS (MIT licence), as
// WebAssembly from the npm package of that name, on DIMACS minimum-cost-flow
// files:
//
//   node highs.cjs FOLDER ROUNDS FILE...
//
// FOLDER holds the package in node_modules. For each file it prints one line:
// name, optimal cost, and the median over ROUNDS, in seconds, of the solve
// alone, the model being in the solver's memory. WebAssembly is slower than
// native code, as a rule by less than twice.
"use strict";
const fs = require("node:fs");
const path = require("node:path");

function fail(what) {
  process.stderr.write(`highs: ${what}\n`);
  process.exit(2);
}

// toLP writes the network as a linear programme in the CPLEX LP form: a
// column per arc, a row per node that has arcs.
function toLP(text) {
  const supply = [], rows = [], cost = [], bounds = [];
  for (const line of text.split("\n")) {
    const f = line.split(" ");
    if (f[0] === "p") {
      for (let v = 0; v < Number(f[2]); v++) { supply.push(0); rows.push([]); }
    } else if (f[0] === "n") {
      supply[f[1] - 1] = Number(f[2]);
    } else if (f[0] === "a") {
      const x = `x${bounds.length}`;
      if (f[1] !== f[2]) {
        rows[f[1] - 1].push(`+ ${x}`);
        rows[f[2] - 1].push(`- ${x}`);
      }
      cost.push(`${f[5] < 0 ? "-" : "+"} ${Math.abs(f[5])} ${x}`);
      bounds.push(f[4] < 0 ? `${x} >= ${f[3]}` : `${f[3]} <= ${x} <= ${f[4]}`);
    }
  }
  const constraints = rows.flatMap((row, v) => row.length ? [`n${v}: ${row.join("\n")} = ${supply[v]}`] : []);
  return ["Minimize", `obj: ${cost.join("\n")}`, "Subject To", ...constraints, "Bounds", ...bounds, "End", ""].join("\n");
}

async function main([folder, roundsText, ...files]) {
  const rounds = Number(roundsText);
  if (!(rounds >= 1) || files.length === 0) fail("usage: node highs.cjs FOLDER ROUNDS FILE...");
  const load = require(path.resolve(folder, "node_modules", "highs"));
  const highs = await load();
  for (const file of files) {
    const data = toLP(fs.readFileSync(file, "utf8"));
    const seconds = [];
    let objective = 0;
    for (let r = 0; r < rounds; r++) {
      highs.withModel({ format: "lp", data }, (model) => {
        model.options.set("output_flag", false);
        const start = process.hrtime.bigint();
        model.run();
        seconds.push(Number(process.hrtime.bigint() - start) / 1e9);
        objective = model.getObjectiveValue();
      });
    }
    seconds.sort((a, b) => a - b);
    console.log(`${path.basename(file)} ${Math.round(objective)} ${seconds[Math.floor(rounds / 2)].toFixed(7)}`);
  }
}

main(process.argv.slice(2)).catch((err) => fail(err.stack ?? err));
