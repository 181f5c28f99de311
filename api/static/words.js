// Words that several drawings say alike.

/** A text with a capital at its beginning. */
export function capital(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/** Where the lines below go: "into the dry bowl"; a bowl that has an article keeps its own words. */
export function into(bowl) {
  return `into ${/^(the|a)\b/.test(bowl) ? bowl : `the ${bowl} bowl`}`;
}
