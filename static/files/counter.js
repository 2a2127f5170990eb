// The counter's helpers. Every page works without them.

import { say } from "./words.js";

// The nearest car the shop knows lends its engine and layout to fields nobody filled.
const near = document.querySelector("[data-nearest]");
if (near) {
	const form = near.closest("form");
	const field = (name) => form.elements[name];
	const look = async () => {
		if (!field("make").value.trim() || !field("model").value.trim()) return;
		const q = new URLSearchParams({ make: field("make").value, model: field("model").value, model_year: field("model_year").value });
		const answer = await fetch(near.dataset.nearest + "?" + q, { headers: { Accept: "application/json" } }).catch(() => null);
		if (!answer?.ok) return;
		const car = await answer.json();
		near.textContent = car.say ?? "";
		for (const [name, value] of Object.entries(car.fill ?? {})) {
			const f = field(name);
			const untouched = name === "layout" ? !f.dataset.chosen : !f.value;
			if (untouched) f.value = value;
		}
	};
	field("layout").addEventListener("change", (e) => (e.target.dataset.chosen = "yes"));
	for (const name of ["make", "model", "model_year"]) field(name).addEventListener("change", look);
}

// A VIN's bar code, where the browser can read one.
const scan = document.querySelector("[data-scan]");
if (scan && "BarcodeDetector" in window && navigator.mediaDevices) {
	const [button, video, told] = ["button", "video", "p"].map((s) => scan.querySelector(s));
	const box = document.getElementById(scan.dataset.scan);
	scan.hidden = false;
	let stream;
	const stop = () => {
		for (const track of stream?.getTracks() ?? []) track.stop();
		stream = undefined;
		video.hidden = true;
	};
	button.addEventListener("click", async () => {
		if (stream) return stop();
		try {
			stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
		} catch {
			told.textContent = say("The camera is not free or not allowed. Type the VIN instead.");
			return;
		}
		video.srcObject = stream;
		video.hidden = false;
		await video.play();
		const reader = new BarcodeDetector();
		told.textContent = say("Hold the code in view.");
		while (stream) {
			for (const { rawValue } of await reader.detect(video).catch(() => [])) {
				// Code 39 labels carry an I in front of the number.
				const vin = rawValue.toUpperCase().replace(/^I(?=[A-HJ-NPR-Z0-9]{17}$)/, "");
				if (!/^[A-HJ-NPR-Z0-9]{17}$/.test(vin)) continue;
				box.value = vin;
				told.textContent = say("Read. Compare it with the car.");
				stop();
			}
			await new Promise((done) => setTimeout(done, 150));
		}
	});
}

// A paper is printed by the browser.
for (const button of document.querySelectorAll("[data-print]")) {
	button.hidden = false;
	button.addEventListener("click", () => print());
}
