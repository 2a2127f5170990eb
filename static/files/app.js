// The pages work without this file. It only saves steps.

// A form that came back: bring the first thing to mend into view.
const refused = document.getElementById("refused");
if (refused) {
	refused.focus({ preventScroll: true });
	refused.scrollIntoView({ block: "center" });
}

// A second tap on a slow line must not send a form twice.
document.addEventListener("submit", (event) => {
	const form = event.target;
	if (form.dataset.sent) {
		event.preventDefault();
		return;
	}
	form.dataset.sent = "yes";
	setTimeout(() => delete form.dataset.sent, 8000);
});
// A page taken from the browser's own store can be sent again.
addEventListener("pageshow", () => {
	for (const form of document.forms) delete form.dataset.sent;
});

// The strip at the bottom of a job shows which section is under the eye.
const strip = document.querySelector(".thumb");
if (strip && "IntersectionObserver" in window) {
	const links = new Map([...strip.querySelectorAll("a")].map((a) => [a.hash.slice(1), a]));
	const seen = new IntersectionObserver((entries) => {
		for (const entry of entries) {
			if (!entry.isIntersecting) continue;
			for (const a of links.values()) a.classList.remove("now");
			links.get(entry.target.id)?.classList.add("now");
		}
	}, { rootMargin: "-30% 0px -60% 0px" });
	for (const id of links.keys()) {
		const section = document.getElementById(id);
		if (section) seen.observe(section);
	}
}
