// Answers while one types. Without this file the search is a plain form.
for (const box of document.querySelectorAll("input[data-live]")) {
	const into = document.getElementById(box.dataset.into);
	let wait, latest;
	box.addEventListener("input", () => {
		clearTimeout(wait);
		if (!box.value.trim()) {
			latest?.abort();
			into.replaceChildren();
			return;
		}
		wait = setTimeout(async () => {
			latest?.abort();
			latest = new AbortController();
			try {
				const answer = await fetch(box.dataset.live + (box.dataset.live.includes("?") ? "&q=" : "?q=") + encodeURIComponent(box.value), { signal: latest.signal });
				if (answer.ok && !answer.redirected) into.innerHTML = await answer.text();
			} catch {
				// the form still works
			}
		}, 120);
	});
}
