// Sheets that rise from the bottom, and the small ones of them.
import {$, clean, get, h, post, said, say, sessionWords, token, trouble, when} from "./common.js";
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
				"Back",
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

export function animalWords(a) {
	const facts = [a.colour, a.place, a.sex, a.mob].filter(Boolean);
	return [
		h("b", {}, said((a.visual ?? [])[0] || a.animal)),
		" ",
		swatch(a.colour),
		h(
			"span",
			{},
			facts.map((f, i) => [i > 0 ? ", " : "", said(f)]),
			a.should && [" (plan: ", said(a.should), ")"],
		),
	];
}

export async function absentSheet() {
	const list = h("ul", {class: "rows"});
	const {body} = sheet("Not yet seen", h("p", {role: "status"}, "Asking\u2026"), list);
	try {
		const answer = await get("/api/not-seen?limit=200");
		say(body.firstChild, `${answer.total} not yet seen. Not read is not absent.`);
		list.replaceChildren(...answer.animals.map(a => h("li", {}, animalWords(a))));
	} catch (error) {
		body.replaceChildren(trouble(error));
	}
}

export function queueSheet(app) {
	const list = h("ul", {class: "rows"});
	const {body} = sheet("To be looked at", list);
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
						said(v.say),
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
						"Looked at",
					),
				),
			),
		);
		if (queue.length === 0) body.replaceChildren(h("p", {}, "Nobody waits to be looked at."));
	};
	draw();
}

function readerRow(r) {
	const rejects = Object.entries(r.rejects ?? {}).filter(([, n]) => n > 0);
	const facts = [r.state, `lane ${r.lane}`, `${r.readings ?? 0} readings`, r.last && `last ${when(r.last)}`];
	return h(
		"li",
		{class: readerWell(r) ? "" : "bad"},
		h("b", {}, readerWell(r) ? "\u25cf " : "\u25b2 ", said(r.name)),
		h("span", {}, said(facts.filter(Boolean).join(", "))),
		rejects.length > 0 && h("p", {}, "refused: ", said(rejects.map(([why, n]) => `${n} ${why}`).join(", "))),
		r.problem && h("p", {}, said(r.problem), " ", said(r.mend ?? "")),
	);
}

export async function readersSheet(app) {
	const list = h("ul", {class: "rows"});
	const {body} = sheet("Readers", list);
	const draw = readers => {
		list.replaceChildren(...readers.map(readerRow));
		if (readers.length === 0)
			body.replaceChildren(h("p", {}, "No reader is configured. Numbers can be called all the same."));
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
		["Expected, in the book", tally.expected],
		["Heads counted", tally.heads ?? "not counted"],
		["Animals identified", tally.identified],
		["Not yet seen", tally.not_seen],
		["To look at", tally.look + tally.hold],
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
		"Close it",
	);
	const made = sheet(
		"Close this session?",
		h("p", {}, said(sessionWords(app.model.session))),
		app.model.tally && counted(app.model.tally),
		app.model.tally?.heads === null &&
			h("p", {}, "The heads were not counted: then nobody can say how many of those not seen were there."),
		state,
		h("div", {class: "pair"}, h("button", {type: "button", onclick: () => made.close()}, "Not yet"), yes),
	);
}

export function undoSheet(app) {
	const last = app.model.said[app.model.said.length - 1];
	if (!last) {
		sheet(
			"Undo",
			h(
				"p",
				{},
				"Nothing was called and no heads were counted: there is nothing to take back. Readings stay as they are.",
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
					await app.tell({do: "undo"}, `take back ${last.words}`, last.seq);
					made.close();
				} catch (error) {
					state.replaceChildren(trouble(error));
				}
			},
		},
		"Take it back",
	);
	const made = sheet(
		"Undo",
		h("p", {class: "big"}, "Take back ", said(last.words), "?"),
		state,
		h("div", {class: "pair"}, h("button", {type: "button", onclick: () => made.close()}, "Leave it"), yes),
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
					h("strong", {}, "Not sent: "),
					said(clean(item.words)),
					item.asks
						? ". Others went by since, or it arrived after all: look at the figures."
						: ". It goes out when the line is back.",
				),
				item.asks && h("button", {type: "button", onclick: () => app.sendAgain(item)}, "Send"),
				h("button", {type: "button", onclick: () => app.outbox.drop(item)}, "Drop"),
			),
		);
}

export const focusLater = id => requestAnimationFrame(() => $(id)?.focus());
