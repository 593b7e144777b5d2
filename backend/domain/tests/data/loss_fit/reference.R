# The reference of the fit: lme4 1.1-31 (Debian 12's r-cran-lme4). For each looks file beside it:
#   Rscript reference.R crossed.csv > crossed.lme4
suppressMessages(library(lme4))
d <- read.csv(commandArgs(TRUE)[1], comment.char = "#")
m <- glmer(cbind(lost, inspected - lost) ~ 1 + offset(log(days)) +
             (1 | variety) + (1 | packing) + (1 | farm) + (1 | lot),
           data = d, family = binomial(link = "cloglog"), nAGQ = 1)
cat(sprintf("# lme4 %s; singular: %s; messages: %s\n", packageVersion("lme4"), isSingular(m),
            paste(unlist(m@optinfo$conv$lme4$messages), collapse = "; ")))
cat("what,which,value\n")
cat(sprintf("log_likelihood,,%.8f\n", as.numeric(logLik(m))))
cat(sprintf("log_hazard,,%.8f\n", fixef(m)))
vc <- as.data.frame(VarCorr(m))
cat(sprintf("sd,%s,%.8f\n", vc$grp, vc$sdcor), sep = "")
re <- ranef(m)
for (g in names(re)) cat(sprintf("%s,%s,%.6f\n", g, rownames(re[[g]]), re[[g]][, 1]), sep = "")
