// Requests to the page's own server. Every reply is JSON or one packed message (see page_message.py).

export class Refused extends Error {
  constructor(reply) {
    super(reply.failure || "the input is at fault");
    this.faults = reply.faults || [];
    this.failure = reply.failure || "";
  }
}

async function send(path, body, headers) {
  let reply;
  try {
    reply = await fetch(path, { method: "POST", body, headers });
  } catch {
    throw new Refused({ failure: "the page's server does not answer: it was ended, or is busy; start plancha page again" });
  }
  if (reply.ok && !reply.headers.has("plancha-refused")) return reply;
  const type = reply.headers.get("content-type") || "";
  throw new Refused(type.includes("json") ? await reply.json() : { failure: (await reply.text()).trim() });
}

export const ask = (path, question) =>
  send(path, JSON.stringify(question), { "content-type": "application/json" });

export const askJson = async (path, question) => (await ask(path, question)).json();

export async function askPicture(path, question) {
  return unpacked(await (await ask(path, question)).arrayBuffer());
}

export async function upload(files) {
  const form = new FormData();
  for (const file of files) form.append("files", file, file.name);
  return (await send("/api/open", form)).json();
}

function unpacked(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const arrays = {};
  let at = 4 + length;
  for (const each of header.arrays) {
    const Kind = each.kind === "f" ? Float32Array : Uint32Array;
    arrays[each.name] = new Kind(buffer, at, each.length);
    at += 4 * each.length;
  }
  return { header, arrays };
}
