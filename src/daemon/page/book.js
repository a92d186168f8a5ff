// The book: animals and their devices, sessions and what they found. Pages are named by the hash,
// "#animal=A17", so that back and bookmarks work.
import {$, _, codeText, get, h, languageButton, said, sessionWords, themeButton, trouble, when, word} from "./common.js";
import {countPage, countsPage, saleChoice, salePage, statementPage} from "./book_sums.js";
import {findings} from "./book_session.js";
import {swatch} from "./sheets.js";
import {earPicture, tagPicture} from "./tag.js";

const link = (part, words) => h("a", {href: "#" + part}, words);
const named = key => `animal=${encodeURIComponent(key)}`;

// --- animals ---

function found(a) {
	const facts = [a.colour, word(a.place), word(a.sex), a.mob && _`mob ${a.mob}`, word(a.status)].filter(Boolean);
	return h(
		"li",
		{},
		h("a", {href: "#" + named(a.animal)}, h("b", {}, said((a.visual ?? []).join(" / ") || a.animal))),
		swatch(a.colour),
		h(
			"span",
			{},
			said(a.animal),
			", ",
			facts.map((f, i) => [i > 0 ? ", " : "", said(f)]),
		),
	);
}

async function search(text, out) {
	try {
		const {animals} = await get(`/api/find?q=${encodeURIComponent(text)}`);
		if ($("find-text").value.trim() !== text) return; // a later letter has its own answer
		out.replaceChildren(
			h(
				"p",
				{},
				animals.length === 0
					? _`Nobody found.`
					: animals.length === 50
						? _`The first 50:`
						: _`${animals.length} found`,
			),
			h("ul", {class: "rows"}, animals.map(found)),
		);
	} catch (error) {
		out.replaceChildren(trouble(error));
	}
}

function findPage(q) {
	const out = h("div", {role: "status"});
	const input = h("input", {
		id: "find-text",
		type: "search",
		autocomplete: "off",
		spellcheck: "false",
		maxlength: 64,
		value: q ?? "",
	});
	let timer = 0;
	const ask = () => (input.value.trim() === "" ? out.replaceChildren() : search(input.value.trim(), out));
	input.addEventListener("input", () => {
		clearTimeout(timer);
		timer = setTimeout(ask, 120);
	});
	ask();
	return [
		h("h2", {}, _`Find an animal`),
		h("p", {class: "field"}, h("label", {for: "find-text"}, _`Number, code or name`), input),
		out,
	];
}

function device(d) {
	const facts = [
		[_`Number`, d.visual],
		[_`Code`, d.eid && codeText(d.eid)],
		[_`Form`, word(d.form)],
		[_`Place`, word(d.place)],
		[_`Colour`, d.colour],
		["", d.official ? _`official` : _`management`],
		[_`Applied`, d.applied],
		[_`Removed`, d.removed && `${d.removed} ${d.why ?? ""}`],
	];
	return h(
		"li",
		{class: d.removed ? "device gone" : "device"},
		tagPicture({number: d.visual ?? "", ...d}, true),
		h(
			"p",
			{},
			earPicture(d.place),
			facts.filter(([, v]) => v).map(([k, v]) => [k && `${k} `, h("b", {}, said(v)), h("br")]),
		),
	);
}

function entryWords(entry) {
	const devices = (entry?.devices ?? []).map(d =>
		[word(d.form), d.colour, word(d.place), d.visual, d.eid, d.removed && _`removed ${d.removed}`]
			.filter(Boolean)
			.join(" "),
	);
	return [word(entry?.status), entry?.mob && _`mob ${entry.mob}`, ...devices].filter(Boolean);
}

function historyRow(row, before) {
	const was = new Set(entryWords(before)),
		is = entryWords(row.entry);
	const gone = [...was].filter(w => !is.includes(w));
	return h(
		"li",
		{},
		h("b", {}, when(row.t)),
		h("span", {}, said(row.why || _`changed`)),
		h(
			"ul",
			{class: "change"},
			gone.map(w => h("li", {}, h("del", {}, said(w)))),
			is.filter(w => !was.has(w)).map(w => h("li", {}, h("ins", {}, said(w)))),
		),
	);
}

async function animalPage(key) {
	const answer = await get(`/api/animal?key=${encodeURIComponent(key)}`);
	const rows = answer.history ?? [];
	const now = answer.entry ?? rows[rows.length - 1]?.entry ?? {};
	const facts = [
		[_`Species`, now.species],
		[_`Breed`, now.breed],
		[_`Sex`, word(now.sex)],
		[_`Castrated`, now.castrated],
		[_`Born`, now.born],
		[_`Mob`, now.mob],
		[_`Status`, word(now.status)],
		[_`Dam`, now.dam && h("a", {href: "#" + named(now.dam)}, said(now.dam))],
		[_`Sire`, now.sire && h("a", {href: "#" + named(now.sire)}, said(now.sire))],
	];
	return [
		h("h2", {}, _`Animal `, said(answer.animal ?? key)),
		h(
			"dl",
			{class: "facts"},
			facts
				.filter(([, v]) => v)
				.map(([k, v]) => h("div", {}, h("dt", {}, k), h("dd", {}, v instanceof Node ? v : said(v)))),
		),
		h("h3", {}, _`Devices`),
		h("ul", {class: "devices"}, (now.devices ?? []).map(device)),
		h("h3", {}, _`History`),
		h("ul", {class: "rows"}, rows.map((row, i) => historyRow(row, rows[i - 1]?.entry)).reverse()),
	];
}

// --- sessions ---

async function sessionsPage() {
	const answer = await get("/api/sessions");
	const sessions = Array.isArray(answer) ? answer : (answer.sessions ?? []);
	return [
		h("h2", {}, _`Sessions`),
		sessions.length === 0 && h("p", {}, _`There was none yet.`),
		h(
			"ul",
			{class: "rows"},
			sessions.map(s =>
				h(
					"li",
					{},
					h("b", {}, link(`session=${encodeURIComponent(s.id)}`, `${s.id}: ${sessionWords(s)}`)),
					h("span", {}, when(s.opened), s.closed ? "" : _`, still open`, s.who && [_`, by `, said(s.who)]),
				),
			),
		),
	];
}

// --- going about ---

const PAGES = {
	find: findPage,
	animal: animalPage,
	sessions: sessionsPage,
	session: id => findings(id, show),
	counts: countsPage,
	count: countPage,
	statement: statementPage,
	sales: saleChoice,
	sale: salePage,
};

let turn = 0;

async function show() {
	const [, part, value] = /^#?([a-z]*)=?(.*)$/s.exec(location.hash) ?? [];
	const mine = ++turn,
		page = $("page");
	const name = Object.hasOwn(PAGES, part) ? part : "find";
	let nodes;
	page.setAttribute("aria-busy", "true");
	try {
		nodes = await PAGES[name](decodeURIComponent(value ?? ""));
	} catch (error) {
		nodes = [h("h2", {}, _`It cannot be shown`), trouble(error)];
	}
	if (mine !== turn) return;
	page.replaceChildren(...nodes.flat(3).filter(Boolean));
	page.removeAttribute("aria-busy");
	document.title = page.querySelector("h2")?.textContent ?? _`The book`;
	for (const a of document.querySelectorAll(".spine nav a"))
		a.setAttribute("aria-current", a.hash.slice(1).startsWith(name.slice(0, 4)) ? "page" : "false");
	if (name !== "find") page.focus({preventScroll: true});
}

themeButton($("theme"));
languageButton($("language"));
addEventListener("hashchange", show);
show();
