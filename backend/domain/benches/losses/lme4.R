# The same fit by lme4: looks as CSV on standard input, what it found on standard output.
# Derivatives after the fit are left out, since the other side doesn't make them either.
if (!requireNamespace("lme4", quietly = TRUE)) quit(status = 77)
suppressMessages(library(lme4))
d <- read.csv(file("stdin"))
time <- system.time(
  m <- glmer(cbind(lost, inspected - lost) ~ 1 + offset(log(days)) +
               (1 | variety) + (1 | packing) + (1 | farm) + (1 | lot),
             data = d, family = binomial(link = "cloglog"), nAGQ = 1,
             control = glmerControl(calc.derivs = FALSE)))
said <- unlist(m@optinfo$conv$lme4$messages)
cat(sprintf("said %s, singular %s%s\n", packageVersion("lme4"), isSingular(m),
            if (length(said)) paste0(", ", paste(said, collapse = "; ")) else ""))
cat(sprintf("seconds %.6f\n", time[["user.self"]] + time[["sys.self"]]))
cat(sprintf("log_likelihood %.8f\n", as.numeric(logLik(m))))
cat(sprintf("log_hazard %.8f\n", fixef(m)))
vc <- as.data.frame(VarCorr(m))
cat(sprintf("%s %.8f\n", vc$grp, vc$sdcor), sep = "")
