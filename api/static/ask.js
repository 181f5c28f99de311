// Questions to the server; a refusal becomes an error whose message names the remedy.

/** The JSON answer of `address`; throws an Error that a person can act on. */
export async function ask(address, body = null) {
  let answer;
  try {
    answer = await fetch(address, body === null ? {} : {
      method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body),
    });
  } catch {
    throw new Error("The kitchen log does not answer. Is it running on this network?");
  }
  const document = await answer.json().catch(() => null);
  if (answer.ok) return document;
  const error = document?.error;
  throw new Error(error ? `${error.what} ${error.remedy}`.trim() : `The kitchen log answered ${answer.status}.`);
}
