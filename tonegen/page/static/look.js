// Before anything is painted: the look this reader chose last, or that the system prefers.
{
  const kept = (name) => {
    try {
      return localStorage.getItem(name);
    } catch {
      return null;
    }
  };
  const light = matchMedia("(prefers-color-scheme: light)").matches;
  document.documentElement.dataset.theme = kept("theme") ?? (light ? "light" : "dark");
  document.documentElement.dataset.size = kept("size") ?? "usual";
}
