// Hands: what mouse, touch and keys do on the board. Every drag has a way by keys; Escape takes back what is not sent.

const REST_MS = 500; // keys that rest so long have moved a place for good
const CLICK_PX = 4;
const ARROWS = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1]};
const LARGEST_PX = 2400;
const HELP = 'Tab to a thing; arrow keys move a place by 0.05 m, Shift by 0.25 m; Enter edits a place or a route, or chooses a place for a module; Escape takes back; + and − zoom, 0 fits.';

// A thing on the board by kind and names, such as place:lamp%20bar.
const thingKey = (kind, ...names) => [kind, ...names.map(encodeURIComponent)].join(':');
const namesOf = (key) => (key ?? '').split(':').map(decodeURIComponent);

const round = (m, step) => Math.round(m / step) * step;
const toMm = (m) => Math.round(m * 1000) / 1000;

class BoardHands {
  constructor(board) {
    this.board = board;
    this.picked = null; // key of the thing that buttons act on
    this.mode = null; // route, place, scale or shift
    this.pending = null; // place that keys are moving
    this.buttons = {};
    this.build();
    this.listen();
  }

  get busy() {
    return Boolean(this.drag || this.pending || this.form);
  }

  // Keys of the names that a drag carries along; null while nothing is on its way.
  get moving() {
    const {drag, pending, board} = this, name = pending ?? (drag?.far ? drag.name : null);
    if (pending === null && !drag?.far) return null;
    const boxes = board.scene.boxes.filter(([, label, place]) => label === name || (board.boxes[label] ?? place) === name);
    return new Set([`place:${name}`, ...boxes.map(([, label]) => `box:${label}`)]);
  }

  close() {
    clearTimeout(this.timer);
  }

  // ---- buttons ----

  build() {
    const button = (name, words, hint, act) => {
      const e = make('button', '', words);
      e.type = 'button';
      e.title = hint;
      e.addEventListener('click', act);
      this.board.bar.append(e);
      this.buttons[name] = e;
      return e;
    };
    button('fit', 'Fit', 'show everything (0)', () => (this.board.fit(), this.board.draw()));
    button('in', '+', 'zoom in (+)', () => this.board.zoom(1.25)).setAttribute('aria-label', 'zoom in');
    button('out', '−', 'zoom out (−)', () => this.board.zoom(0.8)).setAttribute('aria-label', 'zoom out');
    button('add', 'Add place', 'name a place and click where it is', () => this.placeForm(null));
    button('route', 'Draw route', 'click two places one after the other, or press Enter on them', () => this.enterMode('route'));
    button('edit', 'Edit', 'what is chosen (Enter)', () => this.enter(this.picked));
    button('delete', 'Delete', 'the place or route that is chosen (Delete)', () => this.remove(this.picked));
    button('undo', 'Undo', 'take back the last edit on the board (Ctrl+Z)', () => this.board.send({op: 'undo'}));
    button('redo', 'Redo', 'the edit taken back, again (Ctrl+Y)', () => this.board.send({op: 'redo'}));
    this.buildFollow();
    this.buildOutline(button);
    this.tools = this.board.bar;
    const lay = make('button', 'pdm-board-lay', 'Lay out the places in a row');
    lay.type = 'button';
    lay.addEventListener('click', () => (this.setFollow(false), this.board.send({op: 'row'})));
    this.board.empty.append(
      make('p', '', 'No place has coordinates yet. Fill in x_m and y_m of the places (metres to the rear and to the right, from any origin), or lay them out in a row here and drag each where it is.'),
      lay,
    );
    this.board.notice.title = HELP;
    const help = make('div', 'pdm-board-help', HELP);
    help.id = `pdm-board-${Math.random().toString(36).slice(2, 9)}`;
    this.board.svg.setAttribute('aria-describedby', help.id);
    this.board.root.append(help);
  }

  buildFollow() {
    const label = make('label', 'pdm-board-follow'), box = make('input');
    box.type = 'checkbox';
    box.checked = true;
    box.addEventListener('change', () => this.setFollow(box.checked));
    label.title = 'a stated length grows and shrinks with the straight distance when one of its ends is dragged; otherwise it stays as stated';
    label.append(box, ' stated lengths follow');
    this.followBox = box;
    this.board.bar.append(label);
  }

  setFollow(on) {
    this.board.follow = this.followBox.checked = on;
  }

  buildOutline(button) {
    const file = make('input', 'pdm-board-file');
    file.type = 'file';
    file.accept = '.svg,.png,.jpg,.jpeg';
    file.setAttribute('aria-label', 'outline of the vehicle: SVG, PNG or JPEG');
    file.tabIndex = -1;
    file.addEventListener('change', () => file.files[0] && this.upload(file.files[0]).then(() => (file.value = '')));
    this.board.bar.append(file);
    button('outline', 'Outline…', 'a drawing or photo of the vehicle beneath: SVG, PNG or JPEG', () => file.click());
    button('scale', 'Scale outline', 'click two points of it, then type the distance between them', () => this.enterMode('scale'));
    button('shift', 'Move outline', 'drag it, or use the arrow keys', () => this.enterMode('shift'));
    button('turn', 'Turn', 'the outline by a quarter', () => this.board.send({op: 'turn'}));
    button('bare', 'Remove outline', 'its file in the vehicle’s folder is deleted', () => this.board.send({op: 'bare'}));
  }

  // A photo is made smaller before it travels; what the browser cannot show goes as it is and is refused.
  async upload(file) {
    let bytes = await file.arrayBuffer();
    if (/\.jpe?g$|\.png$/i.test(file.name)) bytes = await this.smaller(file).catch(() => bytes.slice(0, 100_000));
    this.board.send({op: 'outline', name: file.name}, [new DataView(bytes)]);
  }

  async smaller(file) {
    const picture = await createImageBitmap(file), k = Math.min(1, LARGEST_PX / Math.max(picture.width, picture.height));
    if (k === 1 && file.size < 3_000_000) return file.arrayBuffer();
    const canvas = make('canvas');
    [canvas.width, canvas.height] = [picture.width * k, picture.height * k];
    canvas.getContext('2d').drawImage(picture, 0, 0, canvas.width, canvas.height);
    const blob = await new Promise((done) => canvas.toBlob(done, 'image/jpeg', 0.85));
    return blob.arrayBuffer();
  }

  // ---- pointer ----

  listen() {
    const {svg, root} = this.board;
    svg.addEventListener('pointerdown', (ev) => this.down(ev));
    svg.addEventListener('pointermove', (ev) => this.move(ev));
    svg.addEventListener('pointerup', (ev) => this.up(ev));
    svg.addEventListener('pointercancel', () => this.cancel());
    svg.addEventListener('touchstart', (ev) => this.touched(ev), {passive: false});
    svg.addEventListener('wheel', (ev) => this.wheel(ev), {passive: false});
    svg.addEventListener('focusin', (ev) => this.pick(this.keyAt(ev.target)));
    svg.addEventListener('focusout', () => this.rest());
    svg.addEventListener('pointerover', (ev) => this.hover(this.keyAt(ev.target)));
    svg.addEventListener('pointerleave', () => this.hover(null));
    root.addEventListener('keydown', (ev) => this.keydown(ev));
  }

  keyAt(target) {
    return target.closest?.('[data-key]')?.dataset.key ?? null;
  }

  spotAt(ev) {
    const rect = this.board.svg.getBoundingClientRect();
    return [ev.clientX - rect.left, ev.clientY - rect.top];
  }

  down(ev) {
    if (ev.button > 0 || this.drag) return;
    this.rest();
    const key = this.keyAt(ev.target), at = this.spotAt(ev), [kind, name] = namesOf(key);
    ev.preventDefault();
    this.board.parts.get(key)?.focus({preventScroll: true});
    this.drag = {key, kind, name, from: at, at, far: false, id: ev.pointerId};
    if (kind === 'place') this.drag.grab = this.apart(at, this.board.at[name]);
    if (kind === 'box') this.drag.grab = this.apart(at, this.board.boxAts[name]);
    if (this.mode === 'scale') this.drag.kind = this.markAt(at);
    if (this.mode === 'shift') this.drag.kind = 'under';
    if (this.mode === 'route' || (!this.drag.kind && !this.mode)) this.drag.view = {...this.board.view};
    this.board.frames = [];
    this.board.svg.setPointerCapture(ev.pointerId);
  }

  apart(at, other) {
    return [at[0] - other[0], at[1] - other[1]];
  }

  move(ev) {
    const drag = this.drag;
    if (!drag || ev.pointerId !== drag.id) return;
    drag.at = this.spotAt(ev);
    drag.far ||= Math.hypot(drag.at[0] - drag.from[0], drag.at[1] - drag.from[1]) > CLICK_PX;
    if (drag.far && !this.frame) this.frame = requestAnimationFrame(() => ((this.frame = null), this.drag && this.dragged()));
  }

  // One frame of a drag.
  dragged() {
    const {board, drag} = this;
    if (this.mode === 'route') return;
    if (drag.kind === 'place') board.moved[drag.name] = board.metres(this.apart(drag.at, drag.grab)).map((m) => toMm(round(m, 0.01)));
    else if (drag.kind === 'box') this.carry(this.apart(drag.at, drag.grab));
    else if (drag.kind === 'mark0' || drag.kind === 'mark1') this.marks[drag.kind.at(-1)] = board.metres(drag.at);
    else if (drag.kind === 'under') this.shifted = this.way(drag);
    else if (drag.view) board.view = {...drag.view, ...this.panned(drag)}, (board.looked = true);
    board.draw();
  }

  way(drag) {
    const k = this.board.view.k;
    return [(drag.at[0] - drag.from[0]) / k, -(drag.at[1] - drag.from[1]) / k];
  }

  panned(drag) {
    const [dx, dy] = this.way(drag);
    return {x: drag.view.x - dx, y: drag.view.y - dy};
  }

  // A box follows the pointer; what it weighs is told for the nearest place it may go to.
  carry(at) {
    const {board, drag} = this;
    this.carried = {label: drag.name, at};
    const near = this.choices(drag.name).filter((s) => board.at[s.name]);
    const away = (s) => Math.hypot(...this.apart(at, board.at[s.name]));
    near.sort((a, b) => away(a) - away(b));
    this.near = near.length && away(near[0]) < 90 ? near[0].name : null;
    if (this.near) board.boxes[drag.name] = this.near;
    else delete board.boxes[drag.name];
  }

  choices(label) {
    const kind = this.board.scene.boxes.find((box) => box[1] === label)?.[0];
    return this.board.scene.spots.filter((s) => kind === 'battery' || kind === 'keypad' || s.mount);
  }

  up(ev) {
    const {board, drag} = this;
    if (!drag || ev.pointerId !== drag.id) return;
    if (drag.far) this.dragged();
    this.drag = this.carried = null;
    const near = this.near;
    this.near = null;
    if (this.mode === 'route') this.end(drag.far ? this.placeNear(drag.at) : drag.kind === 'place' ? drag.name : null, drag);
    else if (!drag.far) this.clicked(drag);
    else if (drag.kind === 'place') this.drop(drag.name);
    else if (drag.kind === 'box') near ? this.putBox(drag.name, near) : board.say('Let it go on a place where it can be mounted.');
    else if (drag.kind === 'under') this.shift(...this.way(drag));
    board.root.dataset.frameMs = board.frames.map((ms) => ms.toFixed(2)).join(' ');
    board.draw();
  }

  clicked(drag) {
    if (this.mode === 'place') return this.aimed(this.board.metres(drag.at).map((m) => round(m, 0.01)));
    if (drag.kind === 'box') this.enter(drag.key);
    else if (!drag.key) this.pick(null);
    this.board.draw();
  }

  drop(name) {
    const [x, y] = this.board.moved[name];
    this.board.send({op: 'move', place: name, x, y});
  }

  putBox(label, place) {
    if (place) this.board.boxes[label] = place;
    this.board.send({op: 'put', box: label, place});
  }

  cancel() {
    const {board} = this;
    this.drag = this.carried = this.near = this.shifted = null;
    clearTimeout(this.timer);
    this.pending = null;
    [board.moved, board.boxes] = [{}, {}];
    board.draw();
  }

  // A finger on a thing drags it; beside things it scrolls the page, unless the plan is larger than the board.
  touched(ev) {
    if (this.keyAt(ev.target) || this.mode || this.board.looked) ev.preventDefault();
  }

  wheel(ev) {
    if (!ev.ctrlKey) return; // the wheel alone scrolls the page
    ev.preventDefault();
    this.board.zoom(ev.deltaY < 0 ? 1.15 : 1 / 1.15, this.spotAt(ev));
  }

  placeNear(at) {
    const near = Object.entries(this.board.at).map(([name, p]) => [Math.hypot(...this.apart(at, p)), name]).sort((a, b) => a[0] - b[0])[0];
    return near && near[0] < 25 ? near[1] : null;
  }

  // ---- keyboard ----

  keydown(ev) {
    ev.stopPropagation(); // or the notebook takes Enter, arrows and letters for its own
    if (ev.target.closest('form')) return ev.key === 'Escape' && this.closeForm();
    const act = this.shortcut(ev) || (this.board.svg.contains(ev.target) && this.onThing(ev));
    if (act) {
      ev.preventDefault();
      act();
    }
  }

  shortcut(ev) {
    if (ev.ctrlKey || ev.metaKey) {
      const op = {z: ev.shiftKey ? 'redo' : 'undo', y: 'redo', s: 'save'}[ev.key.toLowerCase()];
      return op && (() => (this.rest(), this.board.send({op})));
    }
    if (ev.key === 'Escape') return () => this.escape();
    if (!this.board.svg.contains(ev.target)) return null;
    return {'+': () => this.board.zoom(1.25), '=': () => this.board.zoom(1.25), '-': () => this.board.zoom(0.8), 0: () => (this.board.fit(), this.board.draw())}[ev.key];
  }

  escape() {
    if (this.mode) this.enterMode(null);
    const {board} = this, hadPending = this.busy;
    this.cancel();
    if (hadPending) board.say('Taken back.');
  }

  onThing(ev) {
    const key = this.keyAt(ev.target), way = ARROWS[ev.key], [kind, name] = namesOf(key);
    if (way && kind === 'place') return () => this.nudge(name, way, ev.shiftKey ? 0.25 : 0.05);
    if (way && kind === 'mark') return () => this.nudgeMark(name, way, ev.shiftKey ? 0.25 : 0.05);
    if (way && this.mode === 'shift') return () => this.shift(...way.map((n) => n * (ev.shiftKey ? 0.25 : 0.05)));
    if (ev.key === 'Enter' || ev.key === ' ') return () => this.entered(key, kind, name);
    if (ev.key === 'Delete' || ev.key === 'Backspace') return () => this.remove(key);
    return null;
  }

  entered(key, kind, name) {
    if (this.pending) return this.rest();
    if (this.mode === 'route' && kind === 'place') return this.end(name);
    this.enter(key);
  }

  // A place moved by keys goes at once on the screen, and for good once the keys rest.
  nudge(name, [dx, dy], step) {
    const [x, y] = this.board.point(name);
    this.board.moved[name] = [toMm(x + dx * step), toMm(y + dy * step)];
    this.pending = name;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.rest(), REST_MS);
    this.board.draw();
  }

  rest() {
    clearTimeout(this.timer);
    const name = this.pending;
    this.pending = null;
    if (name) this.drop(name);
  }

  // ---- what is chosen ----

  pick(key) {
    if (key?.startsWith('mark:')) return;
    this.picked = key;
    this.board.draw();
  }

  hover(key) {
    this.hovered = key;
    this.tell();
  }

  tell() {
    const {board} = this, key = this.hovered ?? this.picked, words = board.parts.get(key)?.getAttribute('aria-label') ?? '';
    if (board.detail.textContent !== words) board.detail.textContent = words;
    const [kind] = namesOf(this.picked), can = board.model.get('can'), has = Boolean(board.model.get('outline').url);
    this.buttons.edit.disabled = !kind || kind === 'bus';
    this.buttons.delete.disabled = kind !== 'place' && kind !== 'run';
    this.buttons.undo.disabled = !can.undo;
    this.buttons.redo.disabled = !can.redo;
    for (const name of ['scale', 'shift', 'turn', 'bare']) this.buttons[name].hidden = !has;
    for (const name of ['route', 'scale', 'shift']) this.buttons[name].setAttribute('aria-pressed', String(this.mode === name));
  }

  remove(key) {
    const [kind, a, b] = namesOf(key);
    if (kind === 'place') this.board.send({op: 'delete', place: a});
    else if (kind === 'run') this.board.send({op: 'part', start: a, end: b});
  }

  enter(key) {
    const [kind, a, b] = namesOf(key);
    if (kind === 'box') this.boxForm(a);
    else if (kind === 'place') this.placeForm(a);
    else if (kind === 'run') this.runForm(a, b);
    else if (kind === 'mark') this.scaleForm();
  }

  // ---- modes ----

  enterMode(mode) {
    const {board} = this;
    this.mode = this.mode === mode ? null : mode;
    this.start = null;
    this.closeForm();
    this.marks = this.mode === 'scale' ? [[0.35, 0.5], [0.65, 0.5]].map(([x, y]) => board.metres([board.width * x, board.height * y])) : null;
    this.nextMark = 0;
    if (this.mode === 'scale') this.scaleForm();
    board.svg.classList.toggle('pdm-board-aiming', Boolean(this.mode));
    board.say({route: 'Choose the two places of the route. Escape ends.', scale: 'Click two points of the outline whose distance you know, then type it.', shift: 'Drag the outline, or move it with the arrow keys. Escape ends.'}[this.mode] ?? '');
    board.draw();
    if (this.mode === 'shift') this.board.parts.get(thingKey('mark', 'shift'))?.focus();
  }

  // Ends of a route, one after the other; dragged from one place to another both at once.
  end(name, drag) {
    if (drag?.far && drag.kind === 'place' && name && name !== drag.name) return this.join(drag.name, name);
    if (!name) return;
    if (!this.start) {
      this.start = name;
      this.board.say(`Route from ${name}: choose the other place. Escape ends.`);
    } else this.join(this.start, name);
  }

  join(start, end) {
    this.enterMode(null);
    this.board.send({op: 'join', start, end});
  }

  // ---- outline ----

  outline() {
    const o = this.board.model.get('outline');
    return this.shifted && o.url ? {...o, x_m: o.x_m + this.shifted[0], y_m: o.y_m + this.shifted[1]} : o;
  }

  shift(dx, dy) {
    this.board.send({op: 'shift', dx, dy});
  }

  markAt(at) {
    const near = this.marks.map((m) => Math.hypot(...this.apart(at, this.board.pixels(m))));
    const n = near[0] < 14 ? 0 : near[1] < 14 ? 1 : this.nextMark;
    this.nextMark = 1 - n;
    this.marks[n] = this.board.metres(at);
    this.board.draw();
    return `mark${n}`;
  }

  nudgeMark(name, [dx, dy], step) {
    if (name === 'shift') return this.shift(dx * step, dy * step);
    const [x, y] = this.marks[name];
    this.marks[name] = [x + dx * step * 0.2, y + dy * step * 0.2];
    this.board.draw();
  }

  drawMarks() {
    const {board} = this;
    if (this.marks) {
      const [p, q] = this.marks.map((m) => board.pixels(m));
      board.part('marks', 'markline', 'line', {x1: p[0], y1: p[1], x2: q[0], y2: q[1], class: 'pdm-board-markline'});
      [p, q].forEach(([x, y], n) => this.mark(thingKey('mark', n), `point ${n + 1} of the outline; arrow keys move it, Enter goes to the distance`, x, y));
    }
    if (this.mode === 'shift') this.mark(thingKey('mark', 'shift'), 'outline; arrow keys move it', ...board.pixels([this.outline().x_m, this.outline().y_m]));
    if (this.mode === 'place' && this.aim) this.mark('aim', 'new place', ...board.pixels(this.aim));
    if (this.start && board.at[this.start]) board.part('marks', 'start', 'circle', {cx: board.at[this.start][0], cy: board.at[this.start][1], r: 13, class: 'pdm-board-ghost'});
  }

  mark(key, words, x, y) {
    this.board.thing('marks', key, words, [['path', {d: `M${x - 11} ${y}h22M${x} ${y - 11}v22`, class: 'pdm-board-cross'}], ['circle', {cx: x, cy: y, r: 11, class: 'pdm-board-hit'}]]);
  }

  // ---- forms ----

  openForm(title, fields, done) {
    this.closeForm();
    const form = make('form', 'pdm-board-form'), back = document.activeElement;
    form.setAttribute('aria-label', title);
    form.append(make('strong', '', title), ...fields);
    const ok = make('button', '', 'OK'), no = make('button', '', 'Cancel');
    [ok.type, no.type] = ['submit', 'button'];
    no.addEventListener('click', () => this.closeForm());
    form.append(ok, no);
    form.addEventListener('submit', (ev) => (ev.preventDefault(), this.closeForm(), done()));
    this.board.stage.append(form);
    this.form = {form, back};
    form.querySelector('input, select')?.focus();
    return form;
  }

  closeForm() {
    if (!this.form) return;
    const {form, back} = this.form;
    this.form = null;
    form.remove();
    this.aim = null;
    if (this.mode === 'place') this.mode = null;
    [this.board.moved, this.board.boxes] = [{}, {}];
    if (back?.isConnected) back.focus({preventScroll: true});
    this.board.svg.classList.toggle('pdm-board-aiming', Boolean(this.mode));
    this.board.draw();
  }

  field(words, name, value, type = 'text') {
    const label = make('label', '', `${words} `), e = make('input');
    [e.type, e.name] = [type, name];
    if (type === 'checkbox') e.checked = value;
    else e.value = value;
    e.autocomplete = 'off';
    label.append(e);
    return label;
  }

  // A list of the places a box may go to: the masses of each are told while it is only looked at.
  boxForm(label) {
    const {board} = this, select = make('select'), now = board.now.at[label];
    const sited = ['control unit', 'expander'].includes(board.scene.boxes.find((box) => box[1] === label)?.[0]);
    if (sited) select.append(new Option('where its wires are lightest', ''));
    for (const s of this.choices(label)) select.append(new Option(s.name, s.name, false, s.name === now));
    select.size = Math.max(2, Math.min(8, select.options.length));
    select.setAttribute('aria-label', `place for ${label}`);
    const look = () => ((board.boxes = select.value ? {[label]: select.value} : {}), board.draw());
    const form = this.openForm(`${label} to`, [select], () => (select.value || (sited && select.selectedIndex >= 0)) && this.putBox(label, select.value));
    select.addEventListener('change', look);
    select.addEventListener('keydown', (ev) => ev.key === 'Enter' && (ev.preventDefault(), form.requestSubmit()));
    select.addEventListener('dblclick', () => form.requestSubmit());
    if (!select.options.length) board.say('No place can take a module: choose one, Enter, and tick that a module can be mounted there.');
  }

  placeForm(name) {
    const {board} = this, s = name && board.spot(name), p = (name && board.point(name)) || board.metres([board.width / 2, board.height / 2]).map((m) => round(m, 0.05));
    const fields = [this.field('x, m', 'x', p[0].toFixed(2)), this.field('y, m', 'y', p[1].toFixed(2)), this.field('a module can be mounted here', 'mount', Boolean(s?.mount), 'checkbox')];
    if (!name) fields.unshift(this.field('name', 'name', ''));
    const form = this.openForm(name ?? 'New place', fields, () => this.placed(name, s, p, form.elements));
    if (!name) this.aimed(p, form);
  }

  // The new place is where the board is clicked.
  aimed(p, form = this.form?.form) {
    this.mode = 'place';
    this.aim = p;
    [form.elements.x.value, form.elements.y.value] = p.map((m) => m.toFixed(2));
    this.board.svg.classList.add('pdm-board-aiming');
    form.elements.name.focus();
    this.board.draw();
  }

  placed(name, s, p, given) {
    const {board} = this, [x, y] = [given.x.value, given.y.value].map((text) => text.replace(',', '.'));
    if (!name) return board.send({op: 'add', name: given.name.value, x, y, mount: given.mount.checked});
    if (x !== p[0].toFixed(2) || y !== p[1].toFixed(2)) board.send({op: 'move', place: name, x, y});
    if (given.mount.checked !== s.mount) board.send({op: 'mount', place: name, mount: given.mount.checked});
  }

  runForm(start, end) {
    const {board} = this, run = board.scene.runs.find((r) => r[0] === start && r[1] === end);
    const field = this.field('length, m (empty: the straight distance)', 'metres', run?.[2] ?? '');
    const form = this.openForm(`${start} to ${end}`, [field], () => board.send({op: 'length', start, end, metres: form.elements.metres.value.replace(',', '.')}));
  }

  scaleForm() {
    if (this.form) return this.form.form.elements.metres?.focus();
    const field = this.field('distance between the two points, m', 'metres', '');
    const form = this.openForm('Scale outline', [field], () => {
      const [p, q] = marks, metres = form.elements.metres.value.replace(',', '.');
      this.enterMode(null);
      this.board.send({op: 'scale', x1: p[0], y1: p[1], x2: q[0], y2: q[1], metres});
    });
    const marks = this.marks;
  }

  // ---- state from Python ----

  changed() {
    if (this.shifted && !this.drag) this.shifted = null;
  }
}
