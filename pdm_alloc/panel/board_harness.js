// The harness as it lies while something is dragged: lengths along the shortest routes and mass, wire sizes as they are.
// The same rules as harness/paths.py and circuits/wiring.py; a test holds both against each other.

const EQUAL_M = 1e-9; // ways that differ by less are equally long
const SPREAD = 1.2; // diameter of a bundle over that of a circle as large as its wires together

const keyOfRun = (a, b) => (a < b ? `${a}\n${b}` : `${b}\n${a}`);
const straight = (p, q) => (p && q ? Math.hypot(p[0] - q[0], p[1] - q[1]) : null);

function pointsOf(scene, moved = {}) {
  const points = {};
  for (const s of scene.spots) points[s.name] = moved[s.name] ?? (s.x_m === null || s.y_m === null ? null : [s.x_m, s.y_m]);
  return points;
}

// Length of a run: a stated one keeps what it is longer by than the straight distance, or stays while it is long enough.
function runMetres([start, end, stated], before, now, follow) {
  const old = straight(before[start], before[end]), next = straight(now[start], now[end]);
  if (stated === null) return next;
  if (next === null || old === next) return stated;
  if (follow && old !== null) return Math.round(Math.max(stated + next - old, next, 1e-4) * 1e4) / 1e4;
  return Math.max(stated, next);
}

function graphOf(scene, moved, follow) {
  const before = pointsOf(scene), now = pointsOf(scene, moved), metres = new Map(), next = new Map();
  for (const s of scene.spots) next.set(s.name, new Map());
  for (const run of scene.runs) {
    const m = runMetres(run, before, now, follow);
    metres.set(keyOfRun(run[0], run[1]), m);
    if (m === null || !next.has(run[0]) || !next.has(run[1])) continue;
    if (m < (next.get(run[0]).get(run[1]) ?? Infinity)) {
      next.get(run[0]).set(run[1], m);
      next.get(run[1]).set(run[0], m);
    }
  }
  return {metres, next, rank: new Map(scene.spots.map((s) => [s.name, s.rank])), bare: !scene.runs.length};
}

// Shortest ways from a place: distance of each place reached, and the place before it. Of ways equally long the place
// that comes first in natural order decides.
function treeFrom(graph, source) {
  const away = new Map([[source, 0]]), above = new Map(), open = new Set([source]);
  while (open.size && !graph.bare) {
    let near = null;
    for (const p of open) if (near === null || away.get(p) < away.get(near)) near = p;
    open.delete(near);
    for (const [p, m] of graph.next.get(near) ?? [])
      if (away.get(near) + m < (away.get(p) ?? Infinity)) {
        away.set(p, away.get(near) + m);
        open.add(p);
      }
  }
  for (const p of away.keys()) if (p !== source) above.set(p, placeBefore(graph, away, p));
  return {source, away, above};
}

function placeBefore(graph, away, place) {
  let best = null;
  for (const [p, m] of graph.next.get(place)) {
    const nearer = away.get(p) < away.get(place) && away.get(p) + m <= away.get(place) + EQUAL_M;
    if (nearer && (best === null || graph.rank.get(p) < graph.rank.get(best))) best = p;
  }
  return best;
}

// Parts of the ways from a tree's source to some places, each once: key to metres.
function partsTo(graph, tree, places) {
  const parts = new Map();
  for (let p of places)
    while (p !== tree.source && p != null) {
      const up = tree.above.get(p);
      if (up == null || parts.has(keyOfRun(p, up))) break;
      parts.set(keyOfRun(p, up), graph.next.get(p).get(up));
      p = up;
    }
  return parts;
}

const sumOf = (values) => [...values].reduce((a, b) => a + b, 0);

// Everything that follows from where things are: runs (m, wires, mm, g), leads and signals (m, g), cables (m, g, parts),
// bus (order, sections, m, g; null: fewer than two nodes have a place), masses.
function laid(scene, moved = {}, boxes = {}, follow = true) {
  const graph = graphOf(scene, moved, follow), trees = new Map(), runs = new Map();
  const at = Object.fromEntries(scene.boxes.map(([, label, place]) => [label, boxes[label] ?? place]));
  const tree = (place) => {
    if (!place || !graph.next.has(place)) return null;
    if (!trees.has(place)) trees.set(place, treeFrom(graph, place));
    return trees.get(place);
  };
  for (const [key, m] of graph.metres) runs.set(key, {m, wires: 0, across2: 0, g: 0});
  const leads = scene.leads.map((lead) => layLead(scene, graph, tree(at[lead.unit]), lead, runs));
  const cables = cablesAt(scene, at).map((cable) => layCable(scene, graph, tree(cable.start), cable));
  const signals = (scene.signals ?? []).map((lead) => layLead(scene, graph, tree(at[lead.unit]), lead, runs));
  const bus = layBus(scene, graph, at, tree, runs);
  for (const run of runs.values()) run.mm = (run.wires > 1 ? SPREAD : 1) * Math.sqrt(run.across2);
  const wiresG = sumOf(leads.map((lead) => lead.g ?? 0)), cablesG = sumOf(cables.map((cable) => cable.g ?? 0));
  const signalsG = sumOf(signals.map((lead) => lead.g ?? 0));
  return {runs, leads, cables, at, wiresG, cablesG, massG: wiresG + cablesG, signals, signalsG, bus};
}

function layLead(scene, graph, tree, lead, runs) {
  const reached = lead.ends.filter(([place]) => place !== null && tree?.away.has(place));
  const alone = lead.ends.filter((end) => !reached.includes(end));
  let m = sumOf(alone.map(([, k, stated]) => (stated ?? 0) * k));
  if (reached.length) {
    const parts = partsTo(graph, tree, reached.map(([place]) => place));
    m += sumOf(parts.values()) * scene.slack + (1 + sumOf(reached.map(([, k]) => k))) * scene.end_m;
    if (lead.g_per_m !== null) for (const [key, part] of parts) addTo(runs.get(key), lead, part * scene.slack);
  }
  const known = alone.every(([, , stated]) => stated !== null);
  return {m: known ? m : null, g: known && lead.g_per_m !== null ? m * lead.g_per_m : null};
}

function addTo(run, lead, metres) {
  run.wires += lead.wires;
  run.across2 += lead.across2_mm2;
  run.g += lead.g_per_m * metres;
}

// Cables begin at the isolator where there is one, or at the battery.
function cablesAt(scene, at) {
  const {battery} = scene, now = at.battery;
  const isolated = scene.cables.some((c) => c.name === 'isolator');
  return scene.cables.map((c) => ({
    ...c,
    start: (isolated ? c.name === 'isolator' : c.start === battery) ? now : c.start,
    end: c.module ? at[c.module] : c.end,
  }));
}

function layCable(scene, graph, tree, cable) {
  if (!tree || !cable.end || !tree.away.has(cable.end)) return {...cable, m: null, g: null, parts: []};
  const parts = partsTo(graph, tree, [cable.end]);
  const m = sumOf(parts.values()) * scene.slack + 2 * scene.end_m;
  return {...cable, m, g: cable.g_per_m === null ? null : m * cable.g_per_m, parts: [...parts.keys()]};
}

// ---- the bus: the trunk through all nodes in the order of least length, as harness/trunk.py finds it ----

const EXACT_NODES = 14;

function layBus(scene, graph, at, tree, runs) {
  if (!scene.bus) return null;
  const stubs = new Map(scene.bus.nodes), first = [...stubs.keys()].map((label) => at[label]).find(Boolean);
  const reach = tree(first)?.away, names = [...stubs.keys()].filter((label) => reach?.has(at[label])).sort();
  if (names.length < 2) return null;
  const metres = (a, b) => tree(at[a]).away.get(at[b]) * scene.slack + 2 * scene.end_m;
  const order = trunkOrder(names, names.map((a) => names.map((b) => (a === b ? 0 : metres(a, b)))));
  const sections = order.slice(1).map((b, n) => layBusSection(scene, graph, tree(at[order[n]]), order[n], b, at, metres, runs));
  const m = sumOf(sections.map((section) => section.m)), all = sumOf(order.map((label) => stubs.get(label)));
  return {order, stubs: order.map((label) => stubs.get(label)), sections, m, g: (m + all) * scene.bus.g_per_m};
}

function layBusSection(scene, graph, tree, a, b, at, metres, runs) {
  const parts = partsTo(graph, tree, [at[b]]), way = [at[b]];
  while (way[0] !== at[a]) way.unshift(tree.above.get(way[0]));
  for (const [key, part] of parts) {
    const run = runs.get(key);
    [run.wires, run.across2, run.g] = [run.wires + 2, run.across2 + scene.bus.across2_mm2, run.g + part * scene.slack * scene.bus.g_per_m];
  }
  return {from: a, to: b, m: metres(a, b), way};
}

const trunks = {key: '', order: []}; // of the frame before: most frames change nothing of it

function trunkOrder(names, table) {
  const key = `${names.join('\n')}\n${table.join()}`;
  if (trunks.key !== key) {
    const path = names.length <= EXACT_NODES ? heldKarp(table) : improved(table);
    const back = [...path].reverse(), turned = back[0] < path[0];
    [trunks.key, trunks.order] = [key, (turned ? back : path).map((n) => names[n])];
  }
  return trunks.order;
}

function heldKarp(table) {
  const n = table.length, full = (1 << n) - 1;
  const length = new Float64Array((full + 1) * n).fill(Infinity), before = new Int8Array((full + 1) * n).fill(-1);
  for (let k = 0; k < n; k++) length[(1 << k) * n + k] = 0;
  for (let chosen = 1; chosen <= full; chosen++)
    for (let last = 0; last < n; last++) {
      const m = length[chosen * n + last];
      if (m === Infinity) continue;
      for (let next = 0; next < n; next++) {
        const to = (chosen | (1 << next)) * n + next;
        if (!((chosen >> next) & 1) && m + table[last][next] < length[to]) [length[to], before[to]] = [m + table[last][next], last];
      }
    }
  let chosen = full, last = 0;
  for (let k = 1; k < n; k++) if (length[full * n + k] < length[full * n + last]) last = k;
  const path = [];
  while (last >= 0) {
    path.push(last);
    [chosen, last] = [chosen & ~(1 << last), before[chosen * n + last]];
  }
  return path;
}

const lengthOf = (table, path) => path.slice(1).reduce((m, b, n) => m + table[path[n]][b], 0);

function improved(table) {
  const paths = table.map((_, start) => twoOpt(table, nearest(table, start)));
  return paths.reduce((a, b) => (lengthOf(table, b) < lengthOf(table, a) ? b : a));
}

function nearest(table, start) {
  const path = [start], left = new Set(table.keys());
  for (left.delete(start); left.size; left.delete(path.at(-1))) path.push([...left].reduce((a, b) => (table[path.at(-1)][b] < table[path.at(-1)][a] ? b : a)));
  return path;
}

function twoOpt(table, path) {
  for (;;) {
    let best = path, least = lengthOf(table, path) - 1e-9;
    for (let a = 0; a < path.length; a++)
      for (let b = a + 2; b <= path.length; b++) {
        const turned = [...path.slice(0, a), ...path.slice(a, b).reverse(), ...path.slice(b)], m = lengthOf(table, turned);
        if (m < least) [best, least] = [turned, m];
      }
    if (best === path) return path;
    path = best;
  }
}
