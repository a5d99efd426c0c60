// The list follows a choice at once; words are sent with Enter.
const form = document.querySelector("form.look");
form?.addEventListener("change", (event) => {
  if (event.target.matches("select")) form.requestSubmit();
});
// Fields that choose nothing need not stand in the address.
form?.addEventListener("formdata", (event) => {
  for (const [name, value] of [...event.formData]) {
    if (!value || (name === "sort" && value === "began") || (name === "order" && value === "down")) event.formData.delete(name);
  }
});
