// Asks the interface under the page; every refusal becomes an Error with its plain words.

export class Refused extends Error {
  constructor(status, words) {
    super(words);
    this.status = status;
  }
}

export const GONE =
  "The program does not answer. It may have been ended: start it again, and what was saved is still there.";

/** Return what the interface answers to a request, as fetch gives it. */
export async function ask(path, options = {}) {
  let answer;
  try {
    answer = await fetch(path, { credentials: "same-origin", ...options });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Refused(0, GONE);
  }
  if (answer.ok || answer.status === 304) return answer;
  throw refusal(answer.status, await answer.text());
}

function refusal(status, text) {
  let words = `The program answered with ${status}.`;
  try {
    words = JSON.parse(text).error ?? words;
  } catch {
    // not JSON: the status has to do
  }
  return new Refused(status, words);
}

export async function getJson(path, options = {}) {
  return (await ask(path, options)).json();
}

/** Send JSON and return the answer's JSON; `version` is what was seen of the thing that changes. */
export async function sendJson(path, value, { method = "POST", version = null } = {}) {
  const headers = { "Content-Type": "application/json" };
  if (version !== null) headers["If-Match"] = version;
  const answer = await ask(path, { method, headers, body: JSON.stringify(value) });
  return answer.status === 204 ? null : answer.json();
}

/** Send a file and return the answer's JSON; `progress` is told the share sent, which fetch cannot. */
export function sendFile(path, file, progress) {
  return new Promise((done, failed) => {
    const request = new XMLHttpRequest();
    request.open("POST", path);
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) progress(event.loaded / event.total);
    });
    request.addEventListener("load", () => {
      if (request.status < 300) done(JSON.parse(request.responseText));
      else failed(refusal(request.status, request.responseText));
    });
    request.addEventListener("error", () => failed(new Refused(0, GONE)));
    request.send(file);
  });
}

/** Return a trace: values, the start of each sample's exposure, and how long that lasted. */
export async function getTrace(take, kind) {
  const answer = await ask(`/api/takes/${take}/traces/${kind}`);
  const both = new Float32Array(await answer.arrayBuffer());
  const samples = Number(answer.headers.get("X-Samples"));
  return {
    values: both.subarray(0, samples),
    start_s: both.subarray(samples),
    exposure_s: Number(answer.headers.get("X-Exposure-Seconds")),
  };
}
