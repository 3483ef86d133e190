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

// Everything that follows from where things are: runs (m, wires, mm, g), leads (m, g), cables (m, g, parts), masses.
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
  for (const run of runs.values()) run.mm = (run.wires > 1 ? SPREAD : 1) * Math.sqrt(run.across2);
  const wiresG = sumOf(leads.map((lead) => lead.g ?? 0)), cablesG = sumOf(cables.map((cable) => cable.g ?? 0));
  return {runs, leads, cables, at, wiresG, cablesG, massG: wiresG + cablesG};
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
