// What this tablet holds for the person who is logged in.

import { all, line, send } from "./outbox.js";
import { cameBack } from "./forms.js";
import { clock, figure, moment, say } from "./words.js";

const lists = { waiting: document.getElementById("items-waiting"), refused: document.getElementById("items-refused"), arrived: document.getElementById("items-arrived") };
const none = { waiting: say("Nothing waits."), refused: say("Nothing came back."), arrived: say("Nothing yet.") };

function row(item) {
	const li = document.createElement("li");
	const what = document.createElement("div");
	what.className = "what";
	what.textContent = (item.where ? item.where + ". " : "") + item.words;
	const when = document.createElement("div");
	when.className = "when";
	const a = document.createElement("a");
	a.href = `/jobs/${item.job}/bay`;
	a.textContent = say("Job %s", item.job);
	when.append(a, ", " + (item.settled ? say("written %s, answered %s", moment(item.at), clock(item.settled)) : say("written %s", moment(item.at))));
	if (item.href) {
		const look = document.createElement("a");
		look.href = item.href;
		look.textContent = say("See how it is read");
		when.append(" ", look);
	}
	li.append(what, when);
	if (item.state === "refused") li.append(cameBack(item));
	return li;
}

async function draw() {
	let items;
	try {
		items = await all();
	} catch (error) {
		document.getElementById("line").textContent = say("This browser keeps nothing (%s). Forms are sent directly; without a network they stay on the page.", error.message);
		return;
	}
	for (const [state, list] of Object.entries(lists)) {
		const mine = items.filter((i) => i.state === state);
		if (state === "arrived") mine.reverse();
		list.replaceChildren(...(mine.length ? mine.map(row) : [Object.assign(document.createElement("li"), { className: "faded", textContent: none[state] })]));
	}
	const words = { offline: say("The shop cannot be reached just now. What waits goes as soon as it can be."), login: say("Your session has ended. Log in, and what waits goes on by itself."),
		other: say("Someone else is logged in at the shop's side. What waits here goes when you log in again.") };
	if (line.state) document.getElementById("line").textContent = words[line.state];
}

async function room() {
	const e = await navigator.storage?.estimate?.();
	if (!e) return;
	const safe = (await navigator.storage.persisted?.()) || (await navigator.storage.persist?.());
	document.getElementById("room").textContent = say("%s MB used here, about %s MB allowed.", figure(e.usage / 1e6, 1), figure(e.quota / 1e6, 0)) + " " +
		(safe ? say("The browser will not clear it by itself.") : say("The browser may clear it when the tablet runs out of space; send what waits soon."));
}

document.addEventListener("outbox", draw);
document.getElementById("sendnow").addEventListener("click", () => { line.tries = 0; send(); });
draw();
room().catch(() => {});
