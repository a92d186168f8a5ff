// Calling a number and counting heads: big keys, and who of those not yet seen it may be.
import {_, get, h, said, say, trouble} from "./common.js";
import {nameOf} from "./model.js";
import {animalWords, sheet} from "./sheets.js";
import {splitNumber} from "./tag.js";

function keypad(input, letters) {
	const press = key => {
		const from = input.selectionStart ?? input.value.length,
			to = input.selectionEnd ?? from;
		if (key === "\u232b") input.setRangeText("", from === to ? Math.max(0, from - 1) : from, to, "end");
		else input.setRangeText(key, from, to, "end");
		input.dispatchEvent(new Event("input", {bubbles: true}));
	};
	const button = (key, name) =>
		h(
			"button",
			{
				type: "button",
				"aria-label": name,
				onpointerdown: e => e.preventDefault(),
				onclick: () => press(key),
			},
			key,
		);
	const abc = letters
		? h(
				"button",
				{
					type: "button",
					onclick: () => {
						input.setAttribute("inputmode", "text");
						input.blur();
						input.focus();
					},
				},
				"ABC",
			)
		: button("00");
	return h(
		"div",
		{class: "keypad", role: "group", "aria-label": _`Keys`},
		["1", "2", "3", "4", "5", "6", "7", "8", "9"].map(k => button(k)),
		abc,
		button("0"),
		button("\u232b", _`delete`),
	);
}

/* A list under a field: arrows go through it, Enter takes one, a touch too. */
class Guesses {
	constructor(input, list, status, taken) {
		Object.assign(this, {input, list, status, taken, at: -1, animals: [], asked: 0});
		input.addEventListener("input", () => this.ask());
		input.addEventListener("keydown", event => this.key(event));
		this.ask();
	}

	async ask() {
		const mine = ++this.asked;
		try {
			const answer = await get(`/api/not-seen?limit=8&q=${encodeURIComponent(this.input.value.trim())}`);
			if (mine === this.asked) this.show(answer);
		} catch (error) {
			if (mine === this.asked) this.show({animals: [], total: null, why: error.message});
		}
	}

	show(answer) {
		this.at = -1;
		this.animals = answer.animals;
		this.list.replaceChildren(
			...answer.animals.map((a, i) =>
				h(
					"li",
					{
						role: "option",
						id: `guess-${i}`,
						"aria-selected": "false",
						onpointerdown: e => e.preventDefault(),
						onclick: () => this.take(i),
					},
					animalWords(a),
				),
			),
		);
		this.list.hidden = answer.animals.length === 0;
		this.input.setAttribute("aria-expanded", String(answer.animals.length > 0));
		this.input.removeAttribute("aria-activedescendant");
		say(
			this.status,
			answer.why ??
				(answer.total === 0
					? _`Nobody of those not yet seen. The number can be called all the same.`
					: _`${answer.total} of those not yet seen`),
		);
	}

	mark(at) {
		const options = [...this.list.children];
		options.forEach((o, i) => o.setAttribute("aria-selected", String(i === at)));
		this.at = at;
		if (at < 0) return this.input.removeAttribute("aria-activedescendant");
		this.input.setAttribute("aria-activedescendant", options[at].id);
		options[at].scrollIntoView({block: "nearest"});
	}

	key(event) {
		const n = this.animals.length;
		if (event.key === "ArrowDown" && n > 0) this.mark((this.at + 1) % n);
		else if (event.key === "ArrowUp" && n > 0) this.mark((this.at + n - 1 + (this.at < 0 ? 1 : 0)) % n);
		else if (event.key === "Enter") this.at >= 0 ? this.take(this.at) : this.taken();
		else return;
		event.preventDefault();
	}

	take(i) {
		const a = this.animals[i];
		this.input.value = a.visual?.[0] || a.animal;
		this.ask();
		this.taken();
	}
}

function laneChoice(app, chosen) {
	if (app.model.lanes.length < 2) return null;
	return h(
		"fieldset",
		{class: "choice"},
		h("legend", {}, _`Lane`),
		app.model.lanes.map(lane =>
			h(
				"label",
				{},
				h("input", {type: "radio", name: "lane", value: lane, checked: lane === chosen}),
				said(lane),
			),
		),
	);
}

const chosenLane = (form, otherwise) => form.querySelector("input[name=lane]:checked")?.value ?? otherwise;

/** The last reading of a lane; what a call "for the animal just read" is about. */
function justRead(app, lane) {
	return (
		app.model.passes.filter(v => v.eid && (v.called ?? null) === null && (!lane || v.lane === lane)).pop() ??
		null
	);
}

async function sayNumber(app, made, parts, onLast) {
	const number = parts.input.value.trim();
	const lane = chosenLane(made.body, parts.lane);
	if (number === "")
		return parts.state.replaceChildren(
			trouble({message: _`Which number?`, mend: _`Touch the keys or one of the list.`}),
		);
	const body = {do: "saw", number, on_last: onLast, ...(lane ? {lane} : {})};
	const about = onLast ? justRead(app, lane)?.seq : undefined;
	try {
		await app.tell(body, _`call ${number}`, about);
		made.close();
	} catch (error) {
		parts.state.replaceChildren(trouble(error));
		parts.input.focus();
	}
}

function callParts(app) {
	const input = h("input", {
		id: "number",
		class: "huge",
		inputmode: "none",
		autocomplete: "off",
		autocapitalize: "characters",
		spellcheck: "false",
		maxlength: 64,
		role: "combobox",
		"aria-controls": "guesses",
		"aria-expanded": "false",
		"aria-autocomplete": "list",
		dir: "ltr",
	});
	const lane = app.model.last?.lane || app.model.lanes[0] || "";
	return {
		input,
		lane,
		state: h("div"),
		status: h("p", {id: "guess-count", role: "status"}),
		list: h("ul", {id: "guesses", role: "listbox", "aria-label": _`Not yet seen`}),
		last: h("button", {type: "button", class: "tall"}),
		none: h("button", {type: "button", class: "tall strong"}, _`It gave no reading`),
	};
}

export function callSheet(app) {
	const parts = callParts(app);
	const made = sheet(
		_`Call a number`,
		h(
			"div",
			{class: "call"},
			h(
				"div",
				{class: "call-field"},
				h("label", {for: "number"}, _`Number on the tag`),
				parts.input,
				parts.status,
				parts.list,
			),
			h(
				"div",
				{class: "call-keys"},
				keypad(parts.input, true),
				laneChoice(app, parts.lane),
				parts.state,
				h("div", {class: "pair"}, parts.last, parts.none),
			),
		),
	);
	const who = () => {
		const read = justRead(app, chosenLane(made.body, parts.lane));
		parts.last.hidden = read === null;
		if (read) say(parts.last, _`It is the one just read: ${splitNumber(nameOf(read))[1]}`);
	};
	who();
	made.body.addEventListener("change", who);
	made.heard = who;
	parts.last.addEventListener("click", () => sayNumber(app, made, parts, true));
	parts.none.addEventListener("click", () => sayNumber(app, made, parts, false));
	new Guesses(parts.input, parts.list, parts.status, () =>
		(parts.last.hidden ? parts.none : parts.last).focus(),
	);
	parts.input.focus();
	app.onVerdict = who;
	made.dialog.addEventListener("close", () => {
		app.onVerdict = null;
	});
}

export function headSheet(app) {
	const input = h("input", {
		id: "heads",
		class: "huge",
		inputmode: "none",
		autocomplete: "off",
		maxlength: 6,
		pattern: "[0-9]+",
	});
	const state = h("div");
	const lane = app.model.lanes[0] ?? "";
	const form = h(
		"form",
		{class: "call"},
		h(
			"div",
			{class: "call-field"},
			h("label", {for: "heads"}, _`Heads counted through the gate`),
			input,
			h("p", {}, _`It stands beside the book and the animals identified. The three are never made one.`),
		),
		h(
			"div",
			{class: "call-keys"},
			keypad(input, false),
			laneChoice(app, lane),
			state,
			h("button", {type: "submit", class: "tall strong"}, _`Save the head count`),
		),
	);
	const made = sheet(_`Count heads`, form);
	form.addEventListener("submit", async event => {
		event.preventDefault();
		if (!/^\d{1,6}$/.test(input.value.trim()))
			return state.replaceChildren(trouble({message: _`How many?`, mend: _`A whole number, digits only.`}));
		const at = chosenLane(form, "");
		try {
			await app.tell(
				{do: "head", n: Number(input.value.trim()), ...(at ? {lane: at} : {})},
				_`head count ${input.value.trim()}`,
			);
			made.close();
		} catch (error) {
			state.replaceChildren(trouble(error));
		}
	});
	input.focus();
}
