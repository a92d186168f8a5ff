// Counts, the statement of a period and the sale list. Book, heads and identified are never made one.
import {_, get, h, inTongue, keep, kept, plain, said, sessionWords, some, trouble, when, word} from "./common.js";
import {animalLink, figures} from "./book_session.js";
import {gatePicture} from "./tag.js";

const heads = n => n ?? _`not counted`;

function table(label, head, rows) {
	return h(
		"div",
		{class: "wide", tabindex: 0, role: "region", "aria-label": label},
		h(
			"table",
			{},
			h(
				"thead",
				{},
				h(
					"tr",
					{},
					head.map(t => h("th", {scope: "col"}, t)),
				),
			),
			h("tbody", {}, rows),
		),
	);
}

// --- counts ---

export async function countsPage() {
	const answer = await get("/api/counts");
	const counts = Array.isArray(answer) ? answer : (answer.counts ?? []);
	return [
		h("h2", {}, _`Counts`),
		counts.length === 0 &&
			h("p", {}, _`There was none yet. Sessions opened as a count, with one name, are one count.`),
		h(
			"ul",
			{class: "rows"},
			counts.map(c => {
				const name = c.name ?? c.count ?? c;
				return h(
					"li",
					{},
					h("b", {}, h("a", {href: `#count=${encodeURIComponent(name)}`}, said(name))),
					c.closed ? _` closed ${when(c.closed)}` : _` not closed`,
				);
			}),
		),
	];
}

function entry(e) {
	return h(
		"tr",
		{},
		h("td", {}, plain(e.kind)),
		h("td", {}, e.animal && animalLink(e.animal)),
		h(
			"td",
			{},
			(e.visual ?? []).map((v, i) => [i > 0 && ", ", said(v)]),
		),
		h("td", {}, plain(e.reason)),
		h("td", {}, (e.sessions ?? []).join(", ")),
	);
}

export async function countPage(name) {
	const c = await get(`/api/count?name=${encodeURIComponent(name)}`);
	return [
		h("h2", {}, _`Count `, said(c.count)),
		h(
			"p",
			{},
			_`As at the end of ${c.cutoff}`,
			c.closed ? _`, closed ${when(c.closed)}` : _`, not closed`,
			c.running && _`, a session is still open`,
		),
		figures([
			[_`Book`, c.book],
			[
				_`Heads counted`,
				heads(c.heads),
				c.sessions_without_heads > 0 && some(c.sessions_without_heads, _`1 session without`, _`${c.sessions_without_heads} sessions without`),
			],
			[_`Animals identified`, c.identified],
		]),
		c.heads_below_identified &&
			h("p", {class: "trouble"}, _`Fewer heads than animals identified: somebody miscounted.`),
		h("p", {}, _`Truly absent: between ${c.bounds?.absent_min} and ${c.bounds?.absent_max}.`),
		h("h3", {}, _`Sessions`),
		h(
			"ul",
			{class: "rows"},
			(c.sessions ?? []).map(s =>
				h(
					"li",
					{},
					h("a", {href: `#session=${encodeURIComponent(s.id)}`}, `${s.id}: ${sessionWords(s)}`),
					h(
						"span",
						{},
						when(s.opened),
						s.who && [_`, by `, said(s.who)],
						_`, heads ${heads(s.heads)}, identified ${s.identified}`,
					),
				),
			),
		),
		h("h3", {}, _`What lies between the figures`),
		(c.entries ?? []).length === 0
			? h("p", {}, _`Nothing.`)
			: table(
					_`What lies between the figures`,
					[_`What`, _`Animal`, _`Number`, _`Why`, _`Sessions`],
					c.entries.map(entry),
				),
	];
}

// --- statement ---

const MOVES = [
	"opening",
	"births",
	"bought",
	"moved-in",
	"found-again",
	"origin-not-said",
	"sold",
	"died",
	"killed-at-home",
	"moved-out",
	"lost",
	"age-class",
	"book",
];

function statement(s) {
	const used = MOVES.filter(m => m === "opening" || m === "book" || (s.total?.[m] ?? 0) !== 0);
	const row = (name, c, props) =>
		h(
			"tr",
			props,
			h("th", {scope: "row"}, name),
			used.map(m => h("td", {class: "n"}, c[m] ?? 0)),
		);
	const c = s.count;
	return [
		figures([
			[_`Book`, s.total?.book],
			[_`Heads counted`, c ? heads(c.heads) : "\u2013", !c && _`no count named`],
			[_`Animals identified`, c ? c.identified : "\u2013", !c && _`no count named`],
		]),
		table(
			_`Movements by class`,
			[_`Class`, ...used.map(m => word(m.replaceAll("-", " "), "movement|"))],
			[
				...(s.classes ?? []).map(k => row(`${k.species}, ${word(k.sex)}, ${word(k.age)}`, k)),
				row(_`All`, s.total ?? {}, {class: "sum"}),
			],
		),
		(s.notes ?? []).map(n => h("p", {}, said(n))),
	];
}

export function statementPage() {
	const year = new Date().getFullYear();
	const input = (id, label, value, type) => {
		const node = h("input", {id, type, value, maxlength: 60});
		return {node, row: h("p", {class: "field"}, h("label", {for: id}, label), node)};
	};
	const from = input("from", _`First day`, `${year}-01-01`, "date"),
		to = input("to", _`Last day`, `${year}-12-31`, "date"),
		count = input("of-count", _`Count beside it, if any`, "", "text");
	const out = h("div", {"aria-live": "polite"});
	const form = h(
		"form",
		{class: "line"},
		from.row,
		to.row,
		count.row,
		h("button", {type: "submit", class: "strong"}, _`Show`),
	);
	form.addEventListener("submit", async event => {
		event.preventDefault();
		out.replaceChildren(h("p", {}, _`Adding up\u2026`));
		const query = new URLSearchParams({from: from.node.value, to: to.node.value});
		if (count.node.value.trim() !== "") query.set("count", count.node.value.trim());
		try {
			out.replaceChildren(
				...statement(await get(inTongue(`/api/statement?${query}`)))
					.flat()
					.filter(Boolean),
			);
		} catch (error) {
			out.replaceChildren(trouble(error));
		}
	});
	return [h("h2", {}, _`Statement of a period`), form, out];
}

// --- sale ---

export async function saleChoice() {
	const [answer, packs] = await Promise.all([get("/api/sessions"), get("/api/packs")]);
	const sales = (Array.isArray(answer) ? answer : (answer.sessions ?? [])).filter(s => s.kind === "sale");
	const pack = h(
		"select",
		{id: "pack"},
		(packs.packs ?? []).map(p =>
			h("option", {value: p.id, selected: p.id === kept("pack", "none")}, `${p.id}: ${p.name}`),
		),
	);
	pack.addEventListener("change", () => keep("pack", pack.value));
	return [
		h("h2", {}, _`Sales`),
		h("p", {class: "field"}, h("label", {for: "pack"}, _`Rule pack`), pack),
		h("p", {}, _`A pack is somebody's reading of the law, of a date.`),
		sales.length === 0
			? h("p", {}, _`No sale went through the race yet.`)
			: h(
					"ul",
					{class: "rows"},
					sales.map(s =>
						h(
							"li",
							{},
							h(
								"b",
								{},
								h("a", {href: `#sale=${encodeURIComponent(s.id)}`}, `${s.id}: ${sessionWords(s)}`),
							),
							h("span", {}, when(s.opened)),
						),
					),
				),
	];
}

function rule(r) {
	return h(
		"li",
		{class: r.attention},
		h("b", {}, word(r.outcome)),
		" ",
		said(r.why || r.text || r.rule),
		r.todo && [" \u2192 ", said(r.todo)],
		r.citation && [" ", h("small", {}, said(r.citation))],
	);
}

function sold(a) {
	const open = (a.results ?? []).filter(r => r.attention !== "go");
	return h(
		"tr",
		{class: a.attention},
		h("td", {}, gatePicture(a.attention), " ", h("b", {}, word(a.attention))),
		h("td", {}, a.place ?? "\u2013"),
		h("td", {}, animalLink(a.animal)),
		h("td", {}, said(a.number)),
		h("td", {}, said(a.code)),
		h("td", {}, open.length === 0 ? _`no problem found` : h("ul", {}, open.map(rule))),
	);
}

export async function salePage(id) {
	const chosen = kept("pack", "none");
	const s = await get(inTongue(`/api/sale?session=${encodeURIComponent(id)}&pack=${encodeURIComponent(chosen)}`));
	const todo = s.todo ?? [],
		packs = s.packs ?? [];
	return [
		h("h2", {}, _`Sale, session ${id}`),
		figures([
			[_`Hold`, s.counts?.hold],
			[_`Look`, s.counts?.look],
			[_`No problem found`, s.counts?.go],
		]),
		packs.map(p => h("p", {}, said(p.name), _`, as of ${p.as_of}. `, said(p.authority))),
		h("p", {}, said(s.decides), "."),
		todo.length > 0 && [
			h("h3", {}, _`Before loading`),
			h(
				"ul",
				{class: "rows"},
				todo.map(t =>
					h(
						"li",
						{class: t.attention},
						gatePicture(t.attention),
						h("b", {}, word(t.attention)),
						h(
							"span",
							{},
							said(t.do),
							": ",
							(t.animals ?? []).slice(0, 30).map((a, i) => [i > 0 && ", ", animalLink(a)]),
						),
					),
				),
			),
		],
		(s.of_lot ?? []).length > 0 && [h("h3", {}, _`Of the lot`), h("ul", {class: "plain"}, s.of_lot.map(rule))],
		h("h3", {}, _`In the order they walked`),
		table(
			_`In the order they walked`,
			[_`Attention`, _`Place`, _`Animal`, _`Number`, _`Code`, _`Why`],
			(s.animals ?? []).map(sold),
		),
	];
}
