// The secret of the laptop's code, exchanged for this device's cookie.
import {$, _, h, post, say, trouble} from "./common.js";

async function pair(secret) {
	$("state").replaceChildren(h("p", {}, _`Asking\u2026`));
	try {
		const answer = await post("/pair", {secret});
		const words =
			answer.may === "act"
				? _`Paired. This device may act.`
				: _`Paired. This device may look, and change nothing.`;
		$("form").hidden = true;
		$("state").replaceChildren(
			h("p", {class: "done"}, words),
			h("p", {}, h("a", {href: "/", class: "button"}, _`To the race`)),
		);
		setTimeout(() => location.replace("/"), 1500);
	} catch (error) {
		$("state").replaceChildren(trouble(error));
		$("secret").focus();
	}
}

/* The secret must not stay in the address, where it is seen and kept. */
function fromAddress() {
	const secret = location.hash.slice(1);
	if (secret === "") return;
	history.replaceState(null, "", location.pathname);
	pair(secret);
}

$("form").addEventListener("submit", event => {
	event.preventDefault();
	const secret = $("secret").value.trim();
	if (secret === "") say($("state"), _`Type the secret that the laptop shows.`);
	else pair(secret);
});
addEventListener("hashchange", fromAddress);
fromAddress();
