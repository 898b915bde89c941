# Writes the weekly series of counts that the package surveillance carries, a
# line each: the name, then the counts of all units together. ha.sts is ha
# again.
suppressMessages(library(surveillance))
for (n in sort(unique(data(package="surveillance")$results[,"Item"]))) {
  n <- sub(" .*", "", n)
  if (n == "ha.sts") next
  ok <- tryCatch({data(list=n, package="surveillance"); TRUE}, error=function(e) FALSE, warning=function(w) FALSE)
  if (!ok || !exists(n)) next
  x <- get(n)
  y <- if (is(x, "sts") && x@freq == 52) rowSums(observed(x)) else if (inherits(x, "disProg") && x$freq == 52) rowSums(as.matrix(x$observed)) else NULL
  if (is.null(y) || length(y) < 150) next
  cat(paste(c(n, y), collapse=","), "\n", sep="")
}
