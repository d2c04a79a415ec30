// Solves a round of share-outs by linear programming with HiGHS and prints what each farm gets
// and what the haul costs, for the test that holds the share-out against it.
//
//   npm install --prefix .cache/highs highs@1.15.3        (HiGHS as WebAssembly)
//   go test ./services/compostlot/internal/shareout -run HiGHS -instances FOLDER
//   NODE_PATH=.cache/highs/node_modules node scripts/lpfixture/shareout.mjs FOLDER/*.json \
//     > services/compostlot/internal/shareout/testdata/highs.json
//
// The textbook way: raise the level of all farms together as far as it goes; a farm whose row
// has a price cannot go further in any optimal solution, so it is held; repeat with the rest.
// Then, with all levels held, make the haul cheapest.
import { createHash } from "node:crypto";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { basename } from "node:path";

const highs = await createRequire(import.meta.url)("highs")();

function solve(program) {
  const answer = highs.solve(program, { output_flag: false, primal_feasibility_tolerance: 1e-9, dual_feasibility_tolerance: 1e-9 });
  if (answer.Status !== "Optimal") throw new Error(`HiGHS: ${answer.Status}`);
  return answer;
}

// rows are the constraints that every programme shares: no request above what it asked, no
// slot above what it has.
function rows(round) {
  const bySlot = new Map();
  const lines = round.requests.map((r, i) => {
    const terms = r.slots.map((s) => `x${i}_${s}`);
    r.slots.forEach((s) => bySlot.set(s, [...(bySlot.get(s) ?? []), `x${i}_${s}`]));
    return terms.length ? ` r${i}: ${terms.join(" + ")} <= ${r.asked}` : "";
  });
  for (const [s, terms] of bySlot) lines.push(` s${s}: ${terms.join(" + ")} <= ${round.slots[s]}`);
  return lines.filter(Boolean);
}

function farmsOf(round) {
  const farms = new Map();
  round.requests.forEach((r, i) => {
    const f = farms.get(r.farm) ?? { weight: r.weight, asked: 0, terms: [] };
    f.asked += r.asked;
    f.terms.push(...r.slots.map((s) => `x${i}_${s}`));
    farms.set(r.farm, f);
  });
  return farms;
}

function shareOut(round) {
  const shared = rows(round), farms = farmsOf(round), held = new Map();
  for (const [id, f] of farms) if (!f.terms.length) held.set(id, 0);
  // The level is granted ÷ (weight × asked), here in millionths to keep figures alike in size.
  const unit = (f) => (f.weight * f.asked) / 1e6;
  const farmRow = ([id, f], at) => (held.has(id) ? ` f${id}: ${f.terms.join(" + ")} >= ${held.get(id) * unit(f) - 1e-6}` : ` f${id}: ${f.terms.join(" + ")} - ${unit(f)} level >= ${at}`);
  const all = [...farms].filter(([, f]) => f.terms.length);
  while (held.size < farms.size) {
    const answer = solve(["Maximize", " obj: level", "Subject To", ...shared, ...all.map((f) => farmRow(f, 0)), "End"].join("\n"));
    const price = new Map(answer.Rows.map((r) => [r.Name, r.Dual]));
    const before = held.size;
    for (const [id] of all) if (!held.has(id) && Math.abs(price.get(`f${id}`)) > 1e-9) held.set(id, answer.ObjectiveValue);
    if (held.size === before) throw new Error("no farm is held back");
  }
  const haul = round.requests.flatMap((r, i) => r.slots.map((s, k) => `${r.haul[k] / 1000} x${i}_${s}`));
  const cheapest = solve(["Minimize", ` obj: ${haul.join(" + ")}`, "Subject To", ...shared, ...all.map((f) => farmRow(f, 0)), "End"].join("\n"));
  const granted = Object.fromEntries([...farms].map(([id, f]) => [id, Number((held.get(id) * unit(f)).toFixed(3))]));
  return { granted_kg: granted, haul_minor: Number(cheapest.ObjectiveValue.toFixed(1)) };
}

const out = {};
for (const file of process.argv.slice(2)) {
  const text = readFileSync(file);
  out[basename(file, ".json")] = { instance_sha256: createHash("sha256").update(text).digest("hex"), ...shareOut(JSON.parse(text)) };
}
console.log(JSON.stringify(out, null, 1));
