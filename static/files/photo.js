// Photos are shrunk here before they wait or travel: less to keep, less to send, and
// the camera's own record of place and time stays behind.

import { add, person } from "./outbox.js";
import { show } from "./forms.js";
import { say } from "./words.js";

const LONG = 2048; // pixels of the longer side
const MOST = 40 << 20; // bytes the shop takes

const form = document.getElementById("photo");
const preview = document.getElementById("preview");

// A page kept for when there is no network was drawn for no place.
const place = form?.querySelector(`[name="where"][value="${CSS.escape(new URLSearchParams(location.search).get("at") ?? "")}"]`);
if (place) place.checked = place.defaultChecked = true;

// The box takes a file from anywhere; what asks for the camera takes nothing else, so
// it is a button of its own where there may be one.
const camera = document.getElementById("camera");
if (camera && matchMedia("(any-pointer: coarse)").matches) {
	camera.hidden = false;
	camera.addEventListener("click", () => {
		const box = form.elements.file;
		box.setAttribute("capture", "environment");
		box.click();
		box.removeAttribute("capture");
	});
}

async function shrink(file) {
	let picture;
	try {
		picture = await createImageBitmap(file, { imageOrientation: "from-image" });
	} catch {
		return null; // let the shop say what is wrong with it
	}
	const by = Math.min(1, LONG / Math.max(picture.width, picture.height));
	const canvas = document.createElement("canvas");
	canvas.width = Math.max(1, Math.round(picture.width * by));
	canvas.height = Math.max(1, Math.round(picture.height * by));
	canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
	picture.close();
	return new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.85));
}

function refuse(text) {
	const box = document.createElement("div");
	box.className = "refused";
	box.setAttribute("role", "alert");
	box.textContent = text;
	form.querySelector(":scope > .refused")?.remove();
	form.prepend(box);
	box.scrollIntoView({ block: "center" });
}

form?.addEventListener("change", (event) => {
	if (event.target.type !== "file" || !event.target.files[0]) return;
	URL.revokeObjectURL(preview.src);
	preview.src = URL.createObjectURL(event.target.files[0]);
	preview.hidden = false;
});

form?.addEventListener("submit", async (event) => {
	if (!person || form.dataset.direct) return;
	event.preventDefault();
	event.stopPropagation();
	const file = form.elements.file.files[0];
	const small = await shrink(file);
	if (!small && file.size > MOST) {
		refuse(say("The photo is larger than %s MB and cannot be shrunk here. Take it with a lower resolution.", MOST >> 20));
		return;
	}
	const data = new FormData(form);
	const fields = Object.fromEntries(["subject", "moment", "where", "words"].map((n) => [n, data.get(n) ?? ""]));
	const text = (name) => form.querySelector(`[name="${name}"]:checked`)?.closest("label").textContent.trim() ?? "";
	try {
		show(await add({ job: Number(document.documentElement.dataset.job), what: "photo", words: say("Photo: %s, %s", text("subject"), text("moment").toLowerCase()),
			where: text("where"), file: { url: form.getAttribute("action"), fields, blob: small ?? file, name: "photo.jpg" } }));
	} catch (error) {
		refuse(error?.name === "QuotaExceededError"
			? say("This tablet's storage is full, so the photo could not be kept here. It is still in the form. Free some space, or send it while there is a network.")
			: say("This browser would not keep the photo; it is sent directly."));
		form.dataset.direct = "yes"; // the next tap goes straight to the shop
		return;
	}
	preview.hidden = true;
	form.querySelector(":scope > .refused")?.remove();
	form.reset();
}, true);
