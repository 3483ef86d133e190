// The board in the browser: the plan of a vehicle, to be dragged. State comes in whole (scene, ghost, outline, notice,
// stale, can); what the user does goes out as messages. Lengths and masses while dragging are in board_harness.js,
// what hands do in board_hands.js.

const SVG = 'http://www.w3.org/2000/svg';
const STEPS_M = [0.05, 0.1, 0.25, 0.5, 1, 2, 5, 10, 50];
const MM_PX = 0.6; // thickness of a bundle on the screen
const FONT_PX = 12;
const BUS_PX = 5; // how far beside the bundles the bus is drawn

const kg = (g) => `${(g / 1000).toFixed(2)} kg`;
const amount = (value, digits, unit) => (value === null || value === undefined ? 'not known' : `${value.toFixed(digits)} ${unit}`);

class Board {
  constructor(model, el) {
    this.model = model;
    this.scene = model.get('scene');
    this.moved = {}; // places on their way: name to point
    this.boxes = {}; // boxes on their way: label to place
    this.follow = true;
    this.sent = this.scene.heard ?? 0;
    this.parts = new Map(); // what is drawn, by key
    this.widths = new Map();
    this.sides = new Map(); // where each name stands at its point
    this.frames = [];
    this.build(el);
    this.hands = new BoardHands(this);
    this.onChange = () => this.changed();
    model.on('change', this.onChange);
    this.watcher = new ResizeObserver(() => this.resized());
    this.watcher.observe(this.svg);
  }

  close() {
    this.model.off('change', this.onChange);
    this.watcher.disconnect();
    this.hands.close();
  }

  // ---- building ----

  build(el) {
    this.root = make('div', 'pdm-board');
    this.bar = make('div', 'pdm-board-bar');
    this.bar.setAttribute('role', 'toolbar');
    this.bar.setAttribute('aria-label', 'board');
    this.mass = make('div', 'pdm-board-mass');
    this.signals = make('div', 'pdm-board-signals');
    this.svg = document.createElementNS(SVG, 'svg');
    this.svg.setAttribute('class', 'pdm-board-plan');
    this.svg.setAttribute('role', 'group');
    this.svg.setAttribute('aria-label', 'plan of the vehicle, front to the left, seen from above');
    this.layers = {};
    for (const name of ['under', 'grid', 'runs', 'cables', 'bus', 'spots', 'boxes', 'labels', 'marks']) {
      this.layers[name] = document.createElementNS(SVG, 'g');
      this.svg.append(this.layers[name]);
    }
    this.layers.labels.setAttribute('aria-hidden', 'true');
    this.layers.grid.setAttribute('aria-hidden', 'true');
    this.detail = make('div', 'pdm-board-detail');
    this.notice = make('div', 'pdm-board-notice');
    this.notice.setAttribute('role', 'status');
    this.empty = make('div', 'pdm-board-empty');
    this.stage = make('div', 'pdm-board-stage');
    this.stage.append(this.svg, this.empty);
    this.root.append(this.bar, this.mass, this.signals, this.stage, this.detail, this.notice);
    el.append(this.root);
  }

  // ---- state ----

  changed() {
    const before = this.scene;
    this.scene = this.model.get('scene');
    if (this.scene !== before && (this.scene.heard ?? 0) >= this.sent && !this.hands.busy) [this.moved, this.boxes] = [{}, {}];
    if (before.spots.length !== this.scene.spots.length && !this.looked) this.fit();
    this.notice.textContent = this.model.get('notice');
    this.root.classList.toggle('pdm-board-stale', this.model.get('is_stale'));
    this.hands.changed();
    this.draw();
  }

  send(message, buffers) {
    this.model.send({...message, follow: this.follow, n: ++this.sent}, undefined, buffers);
  }

  say(words) {
    this.notice.textContent = words;
  }

  spot(name) {
    return this.scene.spots.find((s) => s.name === name);
  }

  point(name) {
    const s = this.spot(name);
    return this.moved[name] ?? (s && s.x_m !== null && s.y_m !== null ? [s.x_m, s.y_m] : null);
  }

  // ---- view: metres to pixels, front to the left, right side up ----

  resized() {
    const {clientWidth: w, clientHeight: h} = this.svg;
    if (!w || !h) return;
    [this.width, this.height] = [w, h];
    if (!this.looked) this.fit();
    this.draw();
  }

  fit() {
    this.sides.clear();
    const points = this.scene.spots.map((s) => this.point(s.name)).filter(Boolean);
    const o = this.model.get('outline');
    if (o.url) points.push(...this.corners(o));
    if (!points.length) points.push([0, -1], [4, 1]);
    const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
    const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
    const k = Math.min((this.width - 150) / Math.max(x1 - x0, 0.5), (this.height - 90) / Math.max(y1 - y0, 0.5));
    this.view = {x: (x0 + x1) / 2, y: (y0 + y1) / 2, k: Math.max(k, 5)};
    this.looked = false;
  }

  zoom(times, at = [this.width / 2, this.height / 2]) {
    this.sides.clear();
    const [x, y] = this.metres(at), v = this.view;
    const k = Math.min(Math.max(v.k * times, 2), 2000);
    this.view = {x: x + ((v.x - x) * v.k) / k, y: y + ((v.y - y) * v.k) / k, k};
    this.looked = true;
    this.draw();
  }

  pixels([x, y]) {
    const v = this.view;
    return [this.width / 2 + (x - v.x) * v.k, this.height / 2 - (y - v.y) * v.k];
  }

  metres([px, py]) {
    const v = this.view;
    return [v.x + (px - this.width / 2) / v.k, v.y - (py - this.height / 2) / v.k];
  }

  // ---- drawing: parts are kept by key, so that focus stays where it is ----

  part(layer, key, tag, attributes, text) {
    let e = this.parts.get(key);
    if (!e) {
      e = document.createElementNS(SVG, tag);
      e.was = {}; // asking the page for each attribute takes longer
      this.parts.set(key, e);
      this.layers[layer].append(e);
    }
    for (const name in attributes) if (e.was[name] !== attributes[name]) e.setAttribute(name, (e.was[name] = attributes[name]));
    if (text !== undefined && e.was.text !== text) e.textContent = e.was.text = text;
    this.used.add(key);
    return e;
  }

  // A thing that takes the focus: a group with a wide invisible shape to hit, named for screen readers.
  thing(layer, key, words, shapes) {
    const picked = this.hands.picked === key ? ' pdm-board-picked' : '';
    const group = this.part(layer, key, 'g', {'data-key': key, role: 'button', tabindex: 0, 'aria-label': words, class: `pdm-board-thing${picked}`});
    shapes.forEach(([tag, attributes], n) => {
      const shape = this.part(layer, `${key}\t${n}`, tag, attributes);
      if (shape.parentNode !== group) group.append(shape);
    });
  }

  draw() {
    if (!this.width || !this.view) return;
    const start = performance.now();
    this.used = new Set();
    this.now = laid(this.scene, this.moved, this.boxes, this.follow);
    this.at = {};
    for (const s of this.scene.spots) {
      const p = this.point(s.name);
      if (p) this.at[s.name] = this.pixels(p);
    }
    this.lines = [];
    this.drawUnder();
    this.drawGrid();
    this.drawRuns();
    this.drawCables();
    this.drawSpots();
    this.drawBoxes();
    this.drawBus();
    this.drawLabels();
    this.hands.drawMarks();
    for (const [key, e] of this.parts) if (!this.used.has(key)) (e.remove(), this.parts.delete(key));
    this.tell();
    this.frames.push(performance.now() - start);
  }

  corners(o) {
    const across = (o.turn % 2 ? o.height_px : o.width_px) * o.m_per_px, along = (o.turn % 2 ? o.width_px : o.height_px) * o.m_per_px;
    return [[o.x_m - across / 2, o.y_m - along / 2], [o.x_m + across / 2, o.y_m + along / 2]];
  }

  drawUnder() {
    const o = this.hands.outline();
    if (!o.url) return;
    const k = o.m_per_px * this.view.k, [x, y] = this.pixels([o.x_m, o.y_m]);
    this.part('under', 'outline', 'image', {
      href: o.url, width: o.width_px, height: o.height_px, preserveAspectRatio: 'none', class: 'pdm-board-outline',
      transform: `translate(${x} ${y}) rotate(${90 * o.turn}) scale(${k}) translate(${-o.width_px / 2} ${-o.height_px / 2})`,
    });
  }

  drawGrid() {
    const step = STEPS_M.find((m) => m * this.view.k >= 56) ?? 100;
    const [x0, y1] = this.metres([0, 0]), [x1, y0] = this.metres([this.width, this.height]);
    for (let n = Math.ceil(x0 / step); n * step <= x1; n++) this.gridLine('x', n * step, step);
    for (let n = Math.ceil(y0 / step); n * step <= y1; n++) this.gridLine('y', n * step, step);
  }

  gridLine(axis, m, step) {
    const [px, py] = this.pixels([m, m]), w = this.width, h = this.height;
    const ends = axis === 'x' ? {x1: px, x2: px, y1: 0, y2: h} : {x1: 0, x2: w, y1: py, y2: py};
    const key = `grid${axis}${m.toFixed(2)}`;
    this.part('grid', key, 'line', {...ends, class: 'pdm-board-line'});
    const at = axis === 'x' ? {x: px + 3, y: h - 4} : {x: 3, y: py - 3};
    this.part('grid', `${key}t`, 'text', {...at, class: 'pdm-board-metres'}, `${+m.toFixed(step < 0.1 ? 2 : step < 1 ? 2 : 0)} m`);
  }

  drawRuns() {
    for (const [start, end, stated] of this.scene.runs) {
      const [p, q] = [this.at[start], this.at[end]];
      if (!p || !q) continue;
      const run = this.now.runs.get(keyOfRun(start, end)), width = run.wires ? Math.max(1.6, run.mm * MM_PX) : 1.2;
      const line = {x1: p[0], y1: p[1], x2: q[0], y2: q[1]};
      this.lines.push({x: p[0], y: p[1], dx: q[0] - p[0], dy: q[1] - p[1], half: width / 2 + 1});
      this.thing('runs', thingKey('run', start, end), this.runWords(start, end, stated, run), [
        ['line', {...line, class: 'pdm-board-hit'}],
        ['line', {...line, class: 'pdm-board-halo', 'stroke-width': width + 6}],
        ['line', {...line, class: run.wires ? 'pdm-board-run' : 'pdm-board-run pdm-board-bare', 'stroke-width': width}],
      ]);
    }
  }

  runWords(start, end, stated, run) {
    const kind = stated === null ? 'straight' : 'stated';
    const wires = run.wires ? `${run.wires} wire${run.wires > 1 ? 's' : ''}, bundle ${run.mm.toFixed(1)} mm, ${run.g.toFixed(0)} g` : 'no wires';
    return `route ${start} to ${end}: ${amount(run.m, 2, 'm')} (${kind}), ${wires}`;
  }

  drawCables() {
    this.now.cables.forEach((cable, n) => cable.parts.forEach((key) => {
      const [p, q] = key.split('\n').map((name) => this.at[name]);
      if (cable.name !== 'feed' || !p || !q) return;
      this.part('cables', `cable${n}\n${key}`, 'line', {x1: p[0], y1: p[1], x2: q[0], y2: q[1], class: 'pdm-board-cable'});
    }));
  }

  spotWords(s) {
    const p = this.point(s.name), more = [s.compartment, s.ambient_c === null ? '' : `${s.ambient_c} °C`, s.contains && `contains ${s.contains}`];
    const holds = s.holds.length ? `: ${s.holds.slice(0, 6).join(', ')}${s.holds.length > 6 ? ` and ${s.holds.length - 6} more` : ''}` : '';
    const where = p ? `${p[0].toFixed(2)}, ${p[1].toFixed(2)} m` : 'no coordinates';
    return [`place ${s.name} (${where})`, s.mount ? 'a module can be mounted here' : '', ...more].filter(Boolean).join(', ') + holds;
  }

  drawSpots() {
    for (const s of this.scene.spots) {
      const p = this.at[s.name];
      if (!p) continue;
      const near = this.hands.near === s.name ? ' pdm-board-near' : '';
      const shape = s.mount
        ? ['rect', {x: p[0] - 7, y: p[1] - 7, width: 14, height: 14, rx: 2, class: `pdm-board-spot pdm-board-mount${near}`}]
        : ['circle', {cx: p[0], cy: p[1], r: 5, class: `pdm-board-spot${near}`}];
      this.thing('spots', thingKey('place', s.name), this.spotWords(s), [['circle', {cx: p[0], cy: p[1], r: 15, class: 'pdm-board-hit'}], shape]);
    }
  }

  boxWords(kind, label, place) {
    const name = label.startsWith(kind) ? label : `${kind} ${label}`;
    return `${name}, ${place ? `at ${place}` : 'no place yet'}; Enter chooses a place`;
  }

  // Where a box is drawn: at the pointer, at its place, or in the corner where it waits for one.
  boxAt(kind, label, n) {
    if (this.hands.carried?.label === label) return this.hands.carried.at;
    const place = this.boxes[label] ?? this.scene.boxes[n][2], p = this.at[place];
    if (!p) return [60 + 90 * n, 24];
    const before = this.scene.boxes.slice(0, n).filter(([, l, at]) => (this.boxes[l] ?? at) === place).length;
    return [p[0] + 22 * before, p[1] + 20 * before];
  }

  drawBoxes() {
    this.boxAts = {};
    this.scene.boxes.forEach(([kind, label], n) => {
      const [x, y] = this.boxAt(kind, label, n), place = this.boxes[label] ?? this.scene.boxes[n][2];
      this.boxAts[label] = [x, y];
      const css = kind === 'battery' ? 'pdm-board-battery' : kind === 'module' ? 'pdm-board-module' : 'pdm-board-control';
      const key = thingKey('box', label), body = {x: x - 14, y: y - 10, width: 28, height: 20, rx: 3, class: `pdm-board-box ${css}`};
      this.thing('boxes', key, this.boxWords(kind, label, place), [
        ['rect', {x: x - 20, y: y - 16, width: 40, height: 32, class: 'pdm-board-hit'}],
        ['rect', body],
        ['path', {d: this.sign(kind, x, y), class: 'pdm-board-sign'}],
      ]);
    });
    this.drawGhost();
  }

  // What tells a battery (its poles) from a module (its channels) without colour.
  sign(kind, x, y) {
    if (kind === 'battery') return `M${x - 9} ${y}h6M${x - 6} ${y - 3}v6M${x + 4} ${y}h6M${x - 8} ${y - 10}v-3h5v3M${x + 3} ${y - 10}v-3h5v3`;
    if (kind === 'keypad') return [-4, 3].map((dy) => [-8, 0, 8].map((dx) => `M${x + dx - 2} ${y + dy}h4v3h-4z`).join('')).join('');
    const rows = {module: [-4, 0, 4], expander: [-3, 3]}[kind] ?? [0];
    return rows.map((dy) => `M${x - 9} ${y + dy}h18`).join('');
  }

  // The trunk beside the routes it follows, box to box; a stub leaves it where a node hangs off it.
  drawBus() {
    const {bus} = this.now;
    if (!bus) return;
    const joints = {}, lines = [];
    bus.order.forEach((label, n) => {
      const [x, y] = this.boxAts[label];
      joints[label] = bus.stubs[n] ? [x, y + 24] : [x, y];
      if (bus.stubs[n]) lines.push(`M${x} ${y}V${y + 24}`), this.part('bus', `joint${label}`, 'circle', {cx: x, cy: y + 24, r: 3, class: 'pdm-board-joint'});
    });
    for (const section of bus.sections) lines.push(`M${[joints[section.from], ...this.beside(section.way), joints[section.to]].map((p) => p.map((v) => v.toFixed(1)).join(' ')).join('L')}`);
    const d = lines.join('');
    this.thing('bus', thingKey('bus'), this.busWords(bus), [
      ['path', {d, class: 'pdm-board-hit pdm-board-bushit'}],
      ['path', {d, class: 'pdm-board-halo pdm-board-bushit', 'stroke-width': 8}],
      ['path', {d, class: 'pdm-board-bus'}],
    ]);
    for (const label of this.terminated()) {
      const [x, y] = this.boxAts[label];
      this.part('boxes', `end${label}`, 'path', {d: `M${x + 15} ${y}h4v-7h7v14h-7v-7`, class: 'pdm-board-end'});
    }
  }

  terminated() {
    const order = this.now.bus?.order ?? [];
    return order.length ? [order[0], order.at(-1)] : [];
  }

  // A way over places as points a little to one side of the routes, the same side in both directions.
  beside(way) {
    return way.slice(1).flatMap((to, n) => {
      const [a, b] = [way[n], to], [p, q] = [this.at[a], this.at[b]];
      if (!p || !q) return [];
      const [from, end] = a < b ? [p, q] : [q, p], long = Math.hypot(end[0] - from[0], end[1] - from[1]) || 1;
      const run = this.now.runs.get(keyOfRun(a, b)), apart = Math.max(run?.mm ?? 0, 2) * MM_PX * 0.5 + BUS_PX;
      const off = [(-(end[1] - from[1]) / long) * apart, ((end[0] - from[0]) / long) * apart];
      return [[p[0] + off[0], p[1] + off[1]], [q[0] + off[0], q[1] + off[1]]];
    });
  }

  busWords(bus) {
    const limit = this.scene.bus.limit_m, [first, last] = this.terminated(), stubs = bus.order.filter((_, n) => bus.stubs[n]);
    const long = limit === null ? '' : bus.m > limit + 1e-9 ? ` ⚠ longer than the ${limit} m published for its bit rate` : ` of at most ${limit} m`;
    const hangs = stubs.length ? `; stubs to ${stubs.join(', ')}` : '';
    return `bus: trunk ${bus.m.toFixed(2)} m${long}, ${bus.g.toFixed(0)} g, in the order ${bus.order.join(', ')}; terminators at ${first} and ${last}${hangs}`;
  }

  drawGhost() {
    const ghost = this.model.get('ghost'), p = this.at[ghost.place];
    if (!p || this.now.at[ghost.label] === ghost.place) return;
    this.part('marks', 'ghost', 'rect', {x: p[0] - 17, y: p[1] - 13, width: 34, height: 26, rx: 4, class: 'pdm-board-ghost'});
  }

  // ---- names ----

  drawLabels() {
    const names = [];
    for (const [kind, label] of this.scene.boxes) {
      const [x, y] = this.boxAts[label];
      names.push({key: `box:${label}`, x, y, r: 16, text: kind === 'battery' ? 'battery' : label, css: 'pdm-board-name pdm-board-bold'});
    }
    const ghost = this.parts.get('ghost') && this.used.has('ghost') ? this.model.get('ghost') : null;
    if (ghost) names.push({key: 'ghost:', x: this.at[ghost.place][0], y: this.at[ghost.place][1], r: 18, text: ghost.words, css: 'pdm-board-name pdm-board-better'});
    for (const label of this.terminated()) names.push({key: `end:${label}`, x: this.boxAts[label][0] + 22, y: this.boxAts[label][1], r: 8, text: '120 Ω', css: 'pdm-board-name'});
    for (const s of this.scene.spots) if (this.at[s.name]) names.push({key: `place:${s.name}`, x: this.at[s.name][0], y: this.at[s.name][1], r: s.mount ? 9 : 7, text: s.name, css: 'pdm-board-name'});
    for (const name of names) [name.w, name.h] = [this.textWidth(name.text, name.css), FONT_PX * 1.25];
    const points = [...Object.values(this.at).map(([x, y]) => [x - 6, y - 6, x + 6, y + 6]), ...Object.values(this.boxAts).map(([x, y]) => [x - 15, y - 13, x + 15, y + 11])];
    if (ghost) points.push(this.around(this.at[ghost.place], 18, 14));
    const boxes = placeLabels(names, this.lines, points, this.width, this.height - 16, this.sides, this.hands.moving);
    names.forEach((name, n) => this.drawName(name, boxes[n]));
  }

  around([x, y], dx, dy) {
    return [x - dx, y - dy, x + dx, y + dy];
  }

  drawName(name, [x0, y0, x1, y1]) {
    const nearX = Math.min(Math.max(name.x, x0), x1), nearY = Math.min(Math.max(name.y, y0), y1);
    if (Math.hypot(nearX - name.x, nearY - name.y) > name.r + 16)
      this.part('labels', `lead${name.key}`, 'line', {x1: name.x, y1: name.y, x2: nearX, y2: nearY, class: 'pdm-board-lead'});
    this.part('labels', `name${name.key}`, 'text', {x: x0, y: y1 - FONT_PX * 0.3, class: name.css}, name.text);
  }

  textWidth(text, css) {
    const key = css + text;
    if (!this.widths.has(key)) {
      this.pen ??= document.createElement('canvas').getContext('2d');
      this.pen.font = `${css.includes(' ') ? '600 ' : ''}${FONT_PX}px ${getComputedStyle(this.svg).fontFamily}`;
      this.widths.set(key, this.pen.measureText(text).width + 3);
    }
    return this.widths.get(key);
  }

  // ---- words ----

  tell() {
    const bare = !Object.keys(this.at).length;
    this.empty.style.display = bare ? '' : 'none';
    this.root.dataset.pxPerM = this.view.k.toFixed(3);
    this.root.dataset.massG = this.now.massG.toFixed(1);
    this.mass.textContent = this.massWords();
    this.signals.textContent = this.signalWords();
    this.root.dataset.signalsG = this.now.signalsG.toFixed(1);
    this.root.dataset.trunkM = this.now.bus ? this.now.bus.m.toFixed(3) : '';
    this.hands.tell();
  }

  massWords() {
    if (this.scene.wires_g === null) return 'No allocation: lengths are shown, wires are not.';
    const now = this.now, was = this.scene.wires_g + this.scene.cables_g, change = now.massG - was;
    const unknown = now.leads.filter((lead) => lead.m === null).length;
    const cables = now.at.battery ? `battery cables ${kg(now.cablesG)}` : 'battery cables not known: the battery has no place';
    if (unknown && unknown === now.leads.length) return `${cables} · wires have no lengths yet: drag the module to a square, or Enter on it`;
    const parts = [`harness ${kg(now.massG)}: wires ${kg(now.wiresG)}, ${cables}`];
    if (Math.abs(change) >= 5) parts.push(`${change > 0 ? '+' : '−'}${kg(Math.abs(change))}, wire sizes as they are`);
    if (unknown) parts.push(`${unknown} wires of unknown length not weighed`);
    if (this.model.get('is_stale')) parts.push('wire sizes of the last answer');
    return parts.join(' · ');
  }

  signalWords() {
    const {scene, now} = this, parts = scene.signal_words ? [scene.signal_words] : [];
    if (now.signals.length) {
      parts.push(`signal wires ${kg(now.signalsG)}`);
      const unknown = now.signals.filter((lead) => lead.m === null).length;
      if (unknown) parts.push(`${unknown} signal wires of unknown length not weighed`);
    }
    if (now.bus) parts.push(this.busWords(now.bus).replace(/, in the order .*?;/, ',')); // the order is drawn
    else if (scene.bus) parts.push('bus: fewer than two of its nodes have a place');
    return parts.join(' · ');
  }
}

export default {
  render({model, el}) {
    const board = new Board(model, el);
    return () => board.close();
  },
};
