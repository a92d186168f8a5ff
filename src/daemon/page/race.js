// The race page: what came over the line, drawn; what was touched, sent.
import {$, _, get, h, keep, kept, said, say, sessionWords, some, trouble, word} from "./common.js";
import {callSheet, headSheet} from "./call.js";
import {Line, Outbox} from "./live.js";
import {Model, nameOf, readerWell, WORDS} from "./model.js";
import {moreSheet, openSheet} from "./open.js";
import {absentSheet, animalWords, closeSheet, outboxRows, queueSheet, readersSheet, undoSheet} from "./sheets.js";
import * as sound from "./sound.js";
import {spoken, stageOf} from "./stage.js";
import {gatePicture} from "./tag.js";

const model = new Model();
const app = {
	model,
	onVerdict: null,
	connected: null,
	why: "",
	done: new Set(),
	outbox: new Outbox(() => draw()),
	queue: () => model.queue(app.done),
	nameOf,
	soundOn: sound.sounding,
};

// --- what people do ---

app.looked = v => {
	app.done.add(v.seq);
	keep("done", {session: model.session?.id, seqs: [...app.done]});
	draw();
};

app.tell = async (body, words, about) => {
	const answer = await app.outbox.send(body, words, model.session?.id ?? null, about);
	if (answer === null) hear("polite", _`Not sent yet: ${words}`);
	else if (answer.undone || body.do === "head") hear("polite", _`Done: ${words}`);
	return answer;
};

app.sendAgain = item => app.outbox.one(item).catch(error => refused(item, error));

app.sound = async aloud => {
	await sound.wake();
	if (aloud) sound.play("look");
	draw();
};

/* What an unsent word is about, as things stand now. */
function aboutNow(body) {
	if (body.do === "undo") return model.said[model.said.length - 1]?.seq;
	if (body.on_last)
		return model.passes
			.filter(v => v.eid && (v.called ?? null) === null && (!body.lane || v.lane === body.lane))
			.pop()?.seq;
	return undefined;
}

function refused(item, error) {
	app.refusal = {words: item.words, error};
	draw();
}

// --- drawing ---

function hear(how, text) {
	const node = $(how);
	node.textContent = "";
	requestAnimationFrame(() => say(node, text));
}

function alarm(words, more, kind) {
	return h("div", {class: "alarm " + (kind ?? "")}, h("p", {}, h("strong", {}, words), " ", more));
}

function drawAlarms() {
	const rows = [];
	if (app.connected === false)
		rows.push(
			alarm(
				_`CONNECTION LOST.`,
				_`Nothing is lost, the readers go on; ${app.why}. Trying again\u2026`,
				"lost",
			),
		);
	if (model.journal !== null)
		rows.push(alarm(_`STOP: THE JOURNAL FAILED.`, [said(model.journal), _`. What is read now is not kept.`]));
	if (app.refusal)
		rows.push(
			h(
				"div",
				{class: "alarm"},
				h("p", {}, h("strong", {}, _`Refused: `), said(app.refusal.words)),
				trouble(app.refusal.error),
				h(
					"button",
					{
						type: "button",
						onclick: () => {
							app.refusal = null;
							draw();
						},
					},
					_`Seen`,
				),
			),
		);
	const all = [...rows, ...outboxRows(app)];
	const text = all.map(row => row.textContent).join("|");
	if (text === app.alarmText) return; // an alert is told when it changes, not each time something passes
	app.alarmText = text;
	$("alarms").replaceChildren(...all);
}

function drawBar() {
	const open = model.open;
	say($("what"), open ? sessionWords(model.session) : _`Race`);
	const readers = [...model.readers.values()];
	const bad = readers.filter(r => !readerWell(r));
	const text =
		readers.length === 0
			? "\u25cb " + _`no reader`
			: bad.length > 0
				? `\u25b2 ${bad[0].name}: ${word(bad[0].state)}`
				: "\u25cf " + some(readers.length, _`1 reader`, _`${readers.length} readers`);
	say($("readers"), text);
	$("readers").classList.toggle("bad", bad.length > 0);
	$("sound").hidden = sound.sounding();
}

function drawStage() {
	const {kind, nodes} = stageOf(model);
	const stage = $("stage");
	stage.className = kind;
	stage.replaceChildren(h("div", {class: "face"}, nodes));
	const v = model.open ? model.last : null;
	document.title = v ? `${WORDS[v.attention] ?? WORDS.hold} ${nameOf(v)}` : _`Race`;
}

function drawNext() {
	const queue = model.open ? app.queue() : [];
	const next = $("next");
	next.hidden = !model.open;
	if (queue.length === 0) return next.replaceChildren(h("p", {class: "nobody"}, _`Nobody to be looked at`));
	const [v] = queue;
	next.className = v.attention;
	next.replaceChildren(
		h(
			"button",
			{type: "button", class: "flag", "aria-haspopup": "dialog", onclick: () => queueSheet(app)},
			gatePicture(v.attention),
			h(
				"span",
				{},
				h("small", {}, _`Look at next, ${queue.length} in all`),
				h("b", {}, WORDS[v.attention], " ", said(app.nameOf(v))),
				h("span", {class: "why"}, said(word(v.say))),
			),
		),
		h("button", {type: "button", class: "done", onclick: () => app.looked(v)}, _`Looked at`, h("kbd", {}, "D")),
	);
}

function cell(label, number, small, onclick) {
	const figure = onclick
		? h(
				"button",
				{
					type: "button",
					onclick,
					"aria-haspopup": "dialog",
					"aria-label": _`${label}: ${number}. Show them`,
				},
				number,
			)
		: h("span", {}, number);
	return h(
		"div",
		{class: onclick ? "touch" : ""},
		h("dt", {}, label),
		h("dd", {}, figure, small && h("small", {}, small)),
	);
}

function drawTally() {
	const t = model.tally;
	$("figures").hidden = t === null;
	if (t === null) return;
	const others = t.identified - t.present;
	$("tally").replaceChildren(
		cell(_`expected`, t.expected),
		cell(_`seen`, t.present, others > 0 && _`+${others} not expected`),
		cell(_`not yet seen`, t.not_seen, null, absentSheet),
		cell(_`heads`, t.heads ?? "\u2013", t.heads === null && _`not counted`),
	);
}

function drawActions() {
	const act = model.may === "act";
	const key = `${act} ${model.open}`;
	if (app.actionsKey === key) return; // a button that is being pressed must not be replaced under the thumb
	app.actionsKey = key;
	const button = (id, text, short, open, kind) =>
		h(
			"button",
			{type: "button", id, class: kind, "aria-haspopup": "dialog", onclick: () => open(app)},
			text,
			h("kbd", {}, short),
		);
	const session = model.open
		? [
				button("call", _`Call a number`, "C", callSheet, "strong"),
				button("head", _`Heads`, "H", headSheet),
				button("undo", _`Undo`, "U", undoSheet),
			]
		: [button("open", _`Open a session`, "O", openSheet, "strong")];
	$("actions").replaceChildren(
		...(act ? session : [h("p", {}, _`This device may look.`)]),
		button("more", _`More`, "M", moreSheet),
	);
}

let absentTimer = null;

/* Wide screens have room for who is not yet seen; asked for at most once a second. */
function drawAbsent() {
	if (absentTimer !== null || !matchMedia("(min-width: 70rem)").matches) return;
	absentTimer = setTimeout(
		async () => {
			absentTimer = null;
			if (!model.open) return $("absent").replaceChildren();
			try {
				const answer = await get("/api/not-seen?limit=60");
				$("absent").replaceChildren(
					h("h2", {}, _`Not yet seen: `, answer.total),
					h(
						"ul",
						{class: "rows"},
						answer.animals.map(a => h("li", {}, animalWords(a))),
					),
				);
			} catch {
				/* the banner says that the line is lost */
			}
		},
		app.actionsKey ? 1000 : 0,
	);
}

let due = 0;

function draw() {
	if (due !== 0) return;
	due = requestAnimationFrame(() => {
		due = 0;
		drawAll();
	});
}

function drawAll() {
	for (const part of [drawStage, drawNext, drawTally, drawBar, drawAlarms, drawActions, drawAbsent]) part();
}

// --- what the daemon tells ---

function told(v) {
	if (v.repeat) return;
	sound.play(WORDS[v.attention] ? v.attention : "hold");
	hear(v.attention === "hold" ? "assertive" : "polite", spoken(v));
	app.onVerdict?.();
}

function remembered() {
	const marks = kept("done", {});
	const same = model.session !== null && marks.session === model.session.id;
	app.done = new Set(same ? marks.seqs : []);
}

function flush() {
	if (app.connected && !model.catchingUp && app.outbox.items.length > 0)
		app.outbox.flush(model.session?.id ?? null, aboutNow, refused);
}

function message(m) {
	const session = model.session?.id;
	const change = model.take(m);
	if (change === null || change.kind === "beat") return;
	if (model.session?.id !== session) remembered();
	if (change.old) {
		draw();
		if (!model.catchingUp) flush();
		return;
	}
	drawAll(); // at once: an animal stands at the gate
	if (change.kind === "verdict") told(m);
	else if (change.kind === "journal" && model.journal !== null) sound.play("hold");
	else if (change.kind === "session")
		hear("polite", model.open ? _`Session open: ${sessionWords(model.session)}` : _`Session closed`);
}

function state(connected, why) {
	const before = app.connected;
	app.connected = connected;
	app.why = why;
	document.body.classList.toggle("lost", !connected);
	if (!connected && before) sound.play("lost");
	drawAll();
	if (connected) flush();
}

// --- keys, light, wakefulness ---

const SHORT = {c: callSheet, h: headSheet, u: undoSheet, o: openSheet, x: closeSheet};
const LOOK = {q: queueSheet, n: absentSheet, r: readersSheet, m: moreSheet};

function key(event) {
	const name = event.key.toLowerCase();
	if (
		event.ctrlKey ||
		event.altKey ||
		event.metaKey ||
		document.querySelector("dialog[open]") ||
		!kept("keys", true)
	)
		return;
	const opens = name === "o";
	const act = model.may === "act" && (opens ? !model.open : model.open) ? SHORT[name] : undefined;
	const does =
		act ??
		LOOK[name] ??
		(name === "d" && model.open && app.queue().length > 0 ? () => app.looked(app.queue()[0]) : undefined);
	if (!does) return;
	event.preventDefault();
	does(app);
}

async function stayAwake() {
	try {
		if (!document.hidden) await navigator.wakeLock?.request("screen");
	} catch {
		/* battery low, or no secure context: the device's own setting then */
	}
}

$("sound").addEventListener("click", () => app.sound(true));
$("readers").addEventListener("click", () => readersSheet(app));
document.addEventListener("pointerdown", () => sound.sounding() || app.sound(false), {passive: true});
document.addEventListener("keydown", key);
document.addEventListener("visibilitychange", stayAwake);
stayAwake();
drawAll();
new Line({message, state}, () => model.lastSeq);
