// Before anything is painted: the look that this reader chose last, or that his system prefers.
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
