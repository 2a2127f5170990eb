// What every page of a logged-in person does: keep the site usable without a network,
// say what waits and what arrived, follow the others.

import { person, all, line, send } from "./outbox.js";
import { say, words } from "./words.js";
import "./forms.js";
import "./follow.js";

// The service worker keeps pages and files. It needs https or localhost; without it the
// outbox still works while a page is open.
if ("serviceWorker" in navigator && person) {
	navigator.serviceWorker.register("/sw.js").then(() => navigator.serviceWorker.ready).then((reg) => {
		const jobs = [...document.querySelectorAll("a[href^='/jobs/']")].map((a) => /^\/jobs\/(\d+)/.exec(a.getAttribute("href"))?.[1]).filter(Boolean);
		const open = document.querySelector(".moves") ? [...new Set(jobs)] : null; // home lists all open jobs
		const here = document.documentElement.dataset.job;
		reg.active?.postMessage({ keep: open ?? (here ? [here] : []), all: Boolean(open), person, words, lang: document.documentElement.lang });
	}).catch(() => {});
}

// Logging out forgets this person's pages here; what waits to be sent stays for them.
document.addEventListener("submit", (event) => {
	if (event.target.getAttribute("action") === "/logout") navigator.serviceWorker?.controller?.postMessage({ forget: true });
});

const sign = document.getElementById("tablet");

async function tell() {
	if (!sign) return;
	let items = [];
	try { items = await all(); } catch { line.note = "storage"; }
	const waiting = items.filter((i) => i.state === "waiting").length;
	const back = items.filter((i) => i.state === "refused").length;
	const offline = line.state === "offline" || !navigator.onLine;
	const parts = [];
	if (offline) parts.push(say("No network"));
	if (waiting) parts.push(waiting === 1 ? say("1 waits") : say("%s wait", waiting));
	if (line.state === "login" && waiting) parts.push(say("log in to send"));
	if (line.state === "other") parts.push(say("belongs to someone else"));
	if (back) parts.push(say("%s came back", back));
	const text = parts.join(", ") || say("All sent");
	sign.hidden = false;
	sign.classList.toggle("odd", parts.length > 0);
	if (sign.firstElementChild.textContent !== text) sign.firstElementChild.textContent = text;
	if (line.state === "login" && waiting) sign.href = "/login?next=" + encodeURIComponent(location.pathname + location.search + location.hash);
	else sign.href = "/tablet";
	const clock = document.getElementById("clock-wrong");
	if (clock && Math.abs(line.skew) > 120000) {
		const h = Math.abs(line.skew) / 3600000;
		const by = h >= 36 ? say("%s days", Math.round(h / 24)) : h >= 1.5 ? say("%s hours", Math.round(h)) : say("%s minutes", Math.round(h * 60));
		clock.hidden = false;
		clock.querySelector("p").textContent = line.skew > 0
			? say("This tablet's clock is %s ahead. The log keeps the shop's time; set the tablet's clock right.", by)
			: say("This tablet's clock is %s behind. The log keeps the shop's time; set the tablet's clock right.", by);
	}
}
document.addEventListener("outbox", tell);
addEventListener("online", tell);
addEventListener("offline", tell);
if (person) { tell(); send(); }

document.addEventListener("newer", () => {
	const box = document.getElementById("newer");
	if (box) box.hidden = false;
});
for (const b of document.querySelectorAll("[data-close]")) b.addEventListener("click", () => { b.closest(".ribbon").hidden = true; });
