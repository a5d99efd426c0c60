// Before anything is drawn: the scheme that a person chose on this device, where one was chosen.
const chosen = localStorage.getItem("scheme");
if (chosen === "light" || chosen === "dark") document.documentElement.dataset.scheme = chosen;
