// Sheets that rise from the bottom, and the small ones of them.
import {$, _, clean, get, h, post, said, say, sessionWords, some, token, trouble, when, word} from "./common.js";
import {readerWell, WORDS} from "./model.js";
import {colourOf, gatePicture} from "./tag.js";

/** Open a sheet; only one is there at a time. @return {dialog, body, close} */
export function sheet(title, ...content) {
	document.querySelector("dialog")?.close();
	const name = h("h2", {id: "sheet-name"}, title);
	const body = h("div", {class: "sheet-body"}, content);
	const dialog = h(
		"dialog",
		{"aria-labelledby": "sheet-name", class: "sheet"},
		h(
			"div",
			{class: "sheet-head"},
			name,
			h(
				"button",
				{type: "button", class: "quiet", onclick: () => dialog.close()},
				_`Back`,
				h("kbd", {}, "Esc"),
			),
		),
		body,
	);
	dialog.addEventListener("close", () => dialog.remove());
	document.body.append(dialog);
	dialog.showModal();
	return {dialog, body, close: () => dialog.close()};
}

/** A small square of a tag's colour. The word always stands beside it. */
export function swatch(colour) {
	const chip = h("span", {class: "swatch", "aria-hidden": "true"});
	const paint = colourOf(colour);
	if (paint) chip.style.background = paint[0];
	return chip;
}

/* The plan's words, "orange, right ear": colours are data. */
const planWords = should => String(should).split(", ").map(part => word(part)).join(", ");

export function animalWords(a) {
	const facts = [a.colour, word(a.place), word(a.sex), a.mob].filter(Boolean);
	return [
		h("b", {}, said((a.visual ?? [])[0] || a.animal)),
		" ",
		swatch(a.colour),
		h(
			"span",
			{},
			facts.map((f, i) => [i > 0 ? ", " : "", said(f)]),
			a.should && [_` (plan: `, said(planWords(a.should)), ")"],
		),
	];
}

export async function absentSheet() {
	const list = h("ul", {class: "rows"});
	const {body} = sheet(_`Not yet seen`, h("p", {role: "status"}, _`Asking\u2026`), list);
	try {
		const answer = await get("/api/not-seen?limit=200");
		say(body.firstChild, _`${answer.total} not yet seen. Not read is not absent.`);
		list.replaceChildren(...answer.animals.map(a => h("li", {}, animalWords(a))));
	} catch (error) {
		body.replaceChildren(trouble(error));
	}
}

export function queueSheet(app) {
	const list = h("ul", {class: "rows"});
	const {body} = sheet(_`To be looked at`, list);
	const draw = () => {
		const queue = app.queue();
		list.replaceChildren(
			...queue.map(v =>
				h(
					"li",
					{class: v.attention},
					gatePicture(v.attention),
					h(
						"span",
						{},
						h("b", {}, WORDS[v.attention], " ", said(app.nameOf(v))),
						" ",
						said(word(v.say)),
						" ",
						h("small", {}, when(v.t)),
					),
					h(
						"button",
						{
							type: "button",
							onclick: () => {
								app.looked(v);
								draw();
							},
						},
						_`Looked at`,
					),
				),
			),
		);
		if (queue.length === 0) body.replaceChildren(h("p", {}, _`Nobody waits to be looked at.`));
	};
	draw();
}

function readerRow(r) {
	const rejects = Object.entries(r.rejects ?? {}).filter(([, n]) => n > 0);
	const facts = [
		word(r.state),
		_`lane ${r.lane}`,
		some(r.readings, _`1 reading`, _`${r.readings ?? 0} readings`),
		r.last && _`last ${when(r.last)}`,
	];
	return h(
		"li",
		{class: readerWell(r) ? "" : "bad"},
		h("b", {}, readerWell(r) ? "\u25cf " : "\u25b2 ", said(r.name)),
		h("span", {}, said(facts.filter(Boolean).join(", "))),
		rejects.length > 0 && h("p", {}, _`refused: `, said(rejects.map(([why, n]) => `${n} ${word(why, "refused|")}`).join(", "))),
		r.problem && h("p", {}, said(r.problem), " ", said(r.mend ?? "")),
	);
}

export async function readersSheet(app) {
	const list = h("ul", {class: "rows"});
	const {body} = sheet(_`Readers`, list);
	const draw = readers => {
		list.replaceChildren(...readers.map(readerRow));
		if (readers.length === 0)
			body.replaceChildren(h("p", {}, _`No reader is configured. Numbers can be called all the same.`));
	};
	draw([...app.model.readers.values()]);
	try {
		draw((await post("/do", {do: "readers"})).readers); // how many they read is told only when asked
	} catch (error) {
		body.append(trouble(error));
	}
}

function counted(tally) {
	const rows = [
		[_`Expected, in the book`, tally.expected],
		[_`Heads counted`, tally.heads ?? _`not counted`],
		[_`Animals identified`, tally.identified],
		[_`Not yet seen`, tally.not_seen],
		[_`To look at`, tally.look + tally.hold],
	];
	return h(
		"dl",
		{class: "sums"},
		rows.map(([k, n]) => h("div", {}, h("dt", {}, k), h("dd", {}, n))),
	);
}

export function closeSheet(app) {
	const key = token(); // pressed twice, or again after a lost line, it closes once
	const state = h("div");
	const yes = h(
		"button",
		{
			type: "button",
			class: "grave",
			onclick: async () => {
				yes.disabled = true;
				try {
					await post("/do", {do: "close", token: key});
					made.close();
				} catch (error) {
					state.replaceChildren(trouble(error));
					yes.disabled = false;
				}
			},
		},
		_`Close it`,
	);
	const made = sheet(
		_`Close this session?`,
		h("p", {}, said(sessionWords(app.model.session))),
		app.model.tally && counted(app.model.tally),
		app.model.tally?.heads === null &&
			h("p", {}, _`The heads were not counted: then nobody can say how many of those not seen were there.`),
		state,
		h("div", {class: "pair"}, h("button", {type: "button", onclick: () => made.close()}, _`Not yet`), yes),
	);
}

export function undoSheet(app) {
	const last = app.model.said[app.model.said.length - 1];
	if (!last) {
		sheet(
			_`Undo`,
			h(
				"p",
				{},
				_`Nothing was called and no heads were counted: there is nothing to take back. Readings stay as they are.`,
			),
		);
		return;
	}
	const state = h("div");
	const yes = h(
		"button",
		{
			type: "button",
			class: "grave",
			onclick: async () => {
				yes.disabled = true;
				try {
					await app.tell({do: "undo"}, _`take back ${last.words}`, last.seq);
					made.close();
				} catch (error) {
					state.replaceChildren(trouble(error));
				}
			},
		},
		_`Take it back`,
	);
	const made = sheet(
		_`Undo`,
		h("p", {class: "big"}, _`Take back `, said(last.words), "?"),
		state,
		h("div", {class: "pair"}, h("button", {type: "button", onclick: () => made.close()}, _`Leave it`), yes),
	);
}

/** What an outbox holds that the page must not send by itself. */
export function outboxRows(app) {
	return app.outbox.items
		.filter(item => !item.flying)
		.map(item =>
			h(
				"div",
				{class: "alarm"},
				h(
					"p",
					{},
					h("strong", {}, _`Not sent: `),
					said(clean(item.words)),
					item.asks
						? _`. Others went by since, or it arrived after all: look at the figures.`
						: _`. It goes out when the line is back.`,
				),
				item.asks && h("button", {type: "button", onclick: () => app.sendAgain(item)}, _`Send`),
				h("button", {type: "button", onclick: () => app.outbox.drop(item)}, _`Drop`),
			),
		);
}

export const focusLater = id => requestAnimationFrame(() => $(id)?.focus());
