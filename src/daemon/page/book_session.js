// What a session found, and what most likely happened, to be accepted or not.
import {_, codeText, get, h, inTongue, plain, post, said, sessionWords, token, trouble, when, word} from "./common.js";
import {gatePicture} from "./tag.js";

const KINDS = {
	missing: [_`expected, not seen`],
	unmatched: [_`codes of nobody`, _`code of nobody`],
	duplicate: [_`double`],
	unexpected: [_`not expected here`],
	conflict: [_`number and code differ`],
	unread: [_`gave no reading`],
	retired: [_`old devices`, _`old device`],
	doubtful: [_`doubtful readings`, _`doubtful reading`],
};
const HAPPENED = {
	"new-device": _`wears a new device`,
	"misread-number": _`the number was misread`,
	swapped: _`two animals' devices are crossed`,
	"shifted-run": _`a stretch of the strip was paired one out`,
	stranger: _`a stranger`,
	"failed-eid": _`its chip no longer works`,
	absent: _`it was not there`,
};

export function figures(rows) {
	return h(
		"dl",
		{class: "three"},
		rows.map(([k, n, small]) =>
			h("div", {}, h("dt", {}, k), h("dd", {}, n), small && h("dd", {class: "small"}, small)),
		),
	);
}

export function animalLink(key) {
	return h("a", {href: `#animal=${encodeURIComponent(key)}`}, said(key));
}

function finding(f) {
	return h(
		"tr",
		{class: f.attention},
		h("td", {}, gatePicture(f.attention), " ", h("b", {}, word(f.attention))),
		h("td", {}, plain(f.reason)),
		h("td", {}, f.animal && animalLink(f.animal)),
		h(
			"td",
			{},
			(f.visual ?? []).map((v, i) => [i > 0 && ", ", said(v)]),
		),
		h(
			"td",
			{},
			(f.eid ?? []).map((e, i) => [i > 0 && ", ", codeText(e)]),
		),
		h("td", {}, when(f.t)),
	);
}

function kindPart(kind, list) {
	const [many, one] = KINDS[kind] ?? [kind];
	return h(
		"details",
		{open: list.length <= 40},
		h("summary", {}, `${list.length} `, (list.length === 1 && one) || many),
		h(
			"div",
			{class: "wide", tabindex: 0, role: "region", "aria-label": many},
			h(
				"table",
				{},
				h(
					"thead",
					{},
					h(
						"tr",
						{},
						[_`Attention`, _`Why`, _`Animal`, _`Number`, _`Code`, _`When`].map(t =>
							h("th", {scope: "col"}, t),
						),
					),
				),
				h("tbody", {}, list.map(finding)),
			),
		),
	);
}

function chance(p) {
	const percent = p >= 0.995 ? _`over 99` : p < 0.005 ? _`under 1` : String(Math.round(p * 100));
	const meter = h("meter", {min: 0, max: 1, value: p, "aria-label": _`how likely`});
	return h("p", {class: "chance"}, meter, _` ${percent} in 100`);
}

/* One decision, sent once however often the button is pressed. */
function decide(what, session, x, row) {
	const key = token();
	const button = h(
		"button",
		{type: "button", class: what === "accept" ? "strong" : ""},
		what === "accept" ? _`Accept: change the book` : _`Reject`,
	);
	button.addEventListener("click", async () => {
		const all = row.querySelectorAll("button");
		all.forEach(b => {
			b.disabled = true;
		});
		row.querySelector(".trouble")?.remove();
		try {
			await post("/do", {do: what, session, explanation: x.id, token: key}, 30000);
			row.classList.add("settled");
			row.querySelector(".pair").replaceWith(
				h(
					"p",
					{class: "done", role: "status"},
					what === "accept"
						? _`Accepted. The old state is kept in the history.`
						: _`Rejected. It will not be offered again.`,
				),
			);
		} catch (error) {
			all.forEach(b => {
				b.disabled = false;
			});
			row.append(trouble(error));
		}
	});
	return button;
}

function explanation(x, session, act) {
	const mends = ["new-device", "swapped", "shifted-run"].includes(x.kind);
	const row = h(
		"li",
		{class: "explanation"},
		h(
			"h4",
			{},
			`${x.id} `,
			(x.animals ?? []).map((a, i) => [i > 0 && ", ", animalLink(a)]),
			" ",
			HAPPENED[x.kind] ?? x.kind,
		),
		chance(x.probability),
		(x.eid ?? []).length > 0 && h("p", {}, _`code `, x.eid.map(codeText).join(", ")),
		x.sighting && h("p", {}, _`called `, said(x.sighting)),
		h(
			"ul",
			{},
			(x.because ?? []).map(why => h("li", {}, said(why))),
		),
		x.fix && h("p", {}, h("code", {}, said(x.fix))),
	);
	row.append(
		act
			? h(
					"div",
					{class: "pair"},
					mends && decide("accept", session, x, row),
					decide("reject", session, x, row),
				)
			: "",
	);
	return row;
}

async function explanations(id, act, out) {
	try {
		const answer = await get(inTongue(`/api/explain?session=${encodeURIComponent(id)}`));
		const list = Array.isArray(answer) ? answer : (answer.explanations ?? []);
		out.replaceChildren(
			list.length === 0
				? h("p", {}, _`Nothing to explain.`)
				: h(
						"ul",
						{class: "rows plain"},
						list.map(x => explanation(x, id, act)),
					),
		);
	} catch (error) {
		out.replaceChildren(trouble(error));
	}
}

/* Whether this device may change anything; the first message of the stream says so. */
function mayAct() {
	return new Promise(done => {
		const source = new EventSource("/events");
		const end = may => {
			source.close();
			done(may);
		};
		source.onmessage = event => end(JSON.parse(event.data).may === "act");
		source.onerror = () => end(false);
		setTimeout(() => end(false), 4000);
	});
}

export async function findings(id) {
	const f = await get(`/api/findings?session=${encodeURIComponent(id)}`);
	const kinds = Object.keys(f.counts ?? {})
		.map(kind => [kind, (f.findings ?? []).filter(x => x.kind === kind)])
		.filter(([, list]) => list.length > 0);
	const out = h("div", {}, h("p", {role: "status"}, _`Thinking\u2026`));
	mayAct().then(act => explanations(id, act, out));
	const b = f.bounds ?? {};
	return [
		h("h2", {}, _`Session ${id}`),
		h(
			"p",
			{},
			said(sessionWords(f.session ?? {})),
			" ",
			when(f.session?.opened),
			f.session?.closed ? "" : _`, still open`,
		),
		figures([
			[_`Expected, in the book`, f.expected],
			[_`Heads counted`, f.heads ?? _`not counted`],
			[_`Animals identified`, f.identified, _`${f.present} of those expected`],
		]),
		f.session?.closed &&
			h(
				"p",
				{},
				_`Not read is not absent: between ${b.absent_min} and ${b.absent_max} of those expected were truly not there.`,
			),
		f.heads_below_identified &&
			h("p", {class: "trouble"}, _`Fewer heads than animals identified: somebody miscounted.`),
		h(
			"p",
			{class: "links"},
			h("a", {class: "button", href: inTongue(`/report?session=${encodeURIComponent(id)}`)}, _`Report to print`),
			f.session?.kind === "sale" &&
				h("a", {class: "button", href: `#sale=${encodeURIComponent(id)}`}, _`Sale list`),
		),
		h("h3", {}, _`Found`),
		kinds.length === 0
			? h("p", {}, _`Nothing was flagged.`)
			: kinds.map(([kind, list]) => kindPart(kind, list)),
		h("h3", {}, _`What most likely happened`),
		out,
	];
}
