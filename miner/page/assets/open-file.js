// Sent while the file is still being read, so that it leaves no entry in the history. Browsers built
// on WebKit ask the system for names, which may not know those that end in .localhost.
document.forms[/AppleWebKit/.test(navigator.userAgent) && !/Chrom|Edg/.test(navigator.userAgent) ? 1 : 0].submit();
