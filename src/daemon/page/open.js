// Opening a session, and the sheet with everything that is not needed while animals walk.
import {_, get, h, inTongue, keep, kept, languageButton, post, said, themeButton, token, trouble, Trouble} from "./common.js";
import {sheet, closeSheet, queueSheet, readersSheet} from "./sheets.js";

const KINDS = [
	["walk", _`Walk`, _`a mob walks through`],
	["count", _`Count`, _`part of a yearly count`],
	["sale", _`Sale`, _`a lot leaves`],
];

function field(id, label, attributes, hint) {
	const input = h("input", {id, autocomplete: "off", maxlength: 60, ...attributes});
	return {
		input,
		row: h("p", {class: "field"}, h("label", {for: id}, label), input, hint && h("small", {}, hint)),
	};
}

function mobField(mobs) {
	if (!Array.isArray(mobs) || mobs.length === 0)
		return field("mob", _`Mob`, {}, _`Leave it empty for the whole register.`);
	const input = h(
		"select",
		{id: "mob"},
		h("option", {value: ""}, _`all of the register`),
		mobs.map(mob => h("option", {value: mob}, mob)),
	);
	return {input, row: h("p", {class: "field"}, h("label", {for: "mob"}, _`Mob`), input)};
}

/* One line of a lot: an animal's key or its printed number; it must mean one animal. */
async function animalOf(line) {
	const {animals} = await get(`/api/find?q=${encodeURIComponent(line)}`);
	const exact = animals.filter(a => a.animal === line || (a.visual ?? []).includes(line));
	const found = exact.length > 0 ? exact : animals;
	if (found.length !== 1)
		throw new Trouble(
			found.length === 0 ? _`Nobody is called ${line}.` : _`${line} may be ${found.length} animals.`,
			_`Write its key or its whole number.`,
			true,
		);
	return found[0].animal;
}

async function lotOf(text) {
	const keys = [];
	for (const line of text
		.split(/[\n,;]+/)
		.map(l => l.trim())
		.filter(Boolean))
		keys.push(await animalOf(line));
	return [...new Set(keys)];
}

async function requestOf(form, parts, key) {
	const body = {do: "open", kind: form.querySelector("input[name=kind]:checked").value, token: key};
	for (const name of ["mob", "count", "who"])
		if (parts[name].input.value.trim() !== "" && !parts[name].row.hidden)
			body[name] = parts[name].input.value.trim();
	if (body.kind === "sale" && parts.lot.input.value.trim() !== "") {
		body.lot = parts.lot.input.value.trim();
		body.animals = await lotOf(parts.animals.value);
		delete body.mob;
	}
	return body;
}

function openParts(app) {
	const year = String(new Date().getFullYear());
	const animals = h("textarea", {id: "animals", rows: 5, spellcheck: "false"});
	return {
		mob: mobField(app.model.mobs),
		count: field("count", _`Name of the count`, {value: year}, _`Sessions of one name are one count.`),
		who: field("who", _`Who counts`, {value: kept("who", "")}),
		animals,
		lot: field("lot", _`Name of the lot`, {}, _`Leave it empty for a whole mob.`),
		list: h("p", {class: "field"}, h("label", {for: "animals"}, _`Animals of the lot, one a line`), animals),
	};
}

export function openSheet(app) {
	const parts = openParts(app),
		state = h("div"),
		key = token();
	const kinds = h(
		"fieldset",
		{class: "choice"},
		h("legend", {}, _`What is it for?`),
		KINDS.map(([kind, name, about], i) =>
			h(
				"label",
				{},
				h("input", {type: "radio", name: "kind", value: kind, checked: i === 0}),
				h("b", {}, name),
				h("small", {}, about),
			),
		),
	);
	const form = h(
		"form",
		{class: "open"},
		kinds,
		parts.mob.row,
		parts.count.row,
		parts.lot.row,
		parts.list,
		parts.who.row,
		state,
		h("button", {type: "submit", class: "tall strong"}, _`Open the session`),
	);
	const suit = () => {
		const kind = form.querySelector("input[name=kind]:checked").value;
		parts.count.row.hidden = kind !== "count";
		parts.lot.row.hidden = parts.list.hidden = kind !== "sale";
	};
	suit();
	form.addEventListener("change", suit);
	const made = sheet(_`Open a session`, form);
	form.addEventListener("submit", async event => {
		event.preventDefault();
		try {
			await post("/do", await requestOf(form, parts, key));
			keep("who", parts.who.input.value.trim());
			made.close();
		} catch (error) {
			state.replaceChildren(trouble(error));
		}
	});
}

const KEYS = [
	["C", _`call a number`],
	["H", _`count heads`],
	["U", _`undo`],
	["D", _`the next one was looked at`],
	["Q", _`all to be looked at`],
	["N", _`not yet seen`],
	["O", _`open`],
	["X", _`close`],
	["R", _`readers`],
	["M", _`more`],
];

function keysPart() {
	const box = h("input", {type: "checkbox", id: "keys", checked: kept("keys", true)});
	box.addEventListener("change", () => keep("keys", box.checked));
	return h(
		"section",
		{class: "keys"},
		h("h3", {}, _`Keys`),
		h("label", {class: "switch"}, box, _`Single keys do this`),
		h(
			"ul",
			{},
			KEYS.map(([key, what]) => h("li", {}, h("kbd", {}, key), " ", what)),
		),
	);
}

export function moreSheet(app) {
	const theme = h("button", {type: "button"}),
		language = h("button", {type: "button"});
	const go = open => h("button", {type: "button", onclick: () => open(app)});
	const close = app.model.open && app.model.may === "act" && go(closeSheet);
	if (close) close.append(_`Close the session`, h("kbd", {}, "X"));
	const id = app.model.session && encodeURIComponent(app.model.session.id);
	const queue = go(queueSheet),
		readers = go(readersSheet);
	queue.append(_`To be looked at`, h("kbd", {}, "Q"));
	readers.append(_`Readers`, h("kbd", {}, "R"));
	sheet(
		_`More`,
		h(
			"div",
			{class: "menu"},
			close,
			queue,
			readers,
			theme,
			language,
			h(
				"button",
				{type: "button", onclick: () => app.sound(true)},
				app.soundOn() ? _`Sound is on: try it` : _`Turn the sound on`,
			),
			h("a", {class: "button", href: "/book"}, _`The book`),
			id && h("a", {class: "button", href: inTongue(`/report?session=${id}`)}, _`Report to print`),
		),
		app.model.holding?.name && h("p", {}, said(app.model.holding.name)),
		keysPart(),
	);
	themeButton(theme);
	languageButton(language);
}
