// What every page of a logged-in person does: keep the site usable without a network,
// say what waits and what arrived, follow the others.

import { person, all, line, send } from "./outbox.js";
import "./forms.js";
import "./follow.js";

// The service worker keeps pages and files. It needs https or localhost; without it the
// outbox still works while a page is open.
if ("serviceWorker" in navigator && person) {
	navigator.serviceWorker.register("/sw.js").then(() => navigator.serviceWorker.ready).then((reg) => {
		const jobs = [...document.querySelectorAll("a[href^='/jobs/']")].map((a) => /^\/jobs\/(\d+)/.exec(a.getAttribute("href"))?.[1]).filter(Boolean);
		const open = document.querySelector(".moves") ? [...new Set(jobs)] : null; // home lists all open jobs
		const here = document.documentElement.dataset.job;
		reg.active?.postMessage({ keep: open ?? (here ? [here] : []), all: Boolean(open), person });
	}).catch(() => {});
}

// Logging out forgets this person's pages here; what waits to be sent stays for them.
document.addEventListener("submit", (event) => {
	if (event.target.getAttribute("action") === "/logout") navigator.serviceWorker?.controller?.postMessage({ forget: true });
});

const sign = document.getElementById("tablet");

async function say() {
	if (!sign) return;
	let items = [];
	try { items = await all(); } catch { line.note = "storage"; }
	const waiting = items.filter((i) => i.state === "waiting").length;
	const back = items.filter((i) => i.state === "refused").length;
	const offline = line.state === "offline" || !navigator.onLine;
	const parts = [];
	if (offline) parts.push("No network");
	if (waiting) parts.push(waiting === 1 ? "1 waits" : `${waiting} wait`);
	if (line.state === "login" && waiting) parts.push("log in to send");
	if (line.state === "other") parts.push("belongs to someone else");
	if (back) parts.push(`${back} came back`);
	const text = parts.join(", ") || "All sent";
	sign.hidden = false;
	sign.classList.toggle("odd", parts.length > 0);
	if (sign.firstElementChild.textContent !== text) sign.firstElementChild.textContent = text;
	if (line.state === "login" && waiting) sign.href = "/login?next=" + encodeURIComponent(location.pathname + location.search + location.hash);
	else sign.href = "/tablet";
	const clock = document.getElementById("clock-wrong");
	if (clock && Math.abs(line.skew) > 120000) {
		const h = Math.abs(line.skew) / 3600000;
		const by = h >= 36 ? `${Math.round(h / 24)} days` : h >= 1.5 ? `${Math.round(h)} hours` : `${Math.round(h * 60)} minutes`;
		clock.hidden = false;
		clock.querySelector("p").textContent = `This tablet's clock is ${by} ${line.skew > 0 ? "ahead" : "behind"}. The log keeps the shop's time; set the tablet's clock right.`;
	}
}
document.addEventListener("outbox", say);
addEventListener("online", say);
addEventListener("offline", say);
if (person) { say(); send(); }

document.addEventListener("newer", () => {
	const box = document.getElementById("newer");
	if (box) box.hidden = false;
});
for (const b of document.querySelectorAll("[data-close]")) b.addEventListener("click", () => { b.closest(".ribbon").hidden = true; });
