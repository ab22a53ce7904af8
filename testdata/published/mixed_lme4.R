# Makes mixed_dyestuff.json and mixed_sleepstudy.json: run with Debian's r-base-core and r-cran-lme4, in this folder:
#   Rscript mixed_lme4.R
# The two tables are open data that come with the library lme4 (Bates, Maechler, Bolker, Walker 2015, Fitting linear mixed-effects
# models using lme4, Journal of Statistical Software 67(1)): Dyestuff from Davies and Goldsmith 1972, Statistical methods in research
# and production, table 6.1; sleepstudy from Belenky and others 2003, Journal of Sleep Research 12:1-12.
library(lme4)
num <- function(x) paste0("[", paste(format(as.vector(x), digits = 15, trim = TRUE), collapse = ","), "]")

# restricted deviance at several ratios of the standard deviations, then the estimate
write_one <- function(file, fit, devfun, thetas, y, group, extra, day, blups) {
  devs <- apply(thetas, 1, devfun)
  cat("{\n \"source\": \"lme4 ", as.character(packageVersion("lme4")), " by mixed_lme4.R\",\n",
      " \"y\": ", num(y), ",\n \"group\": ", num(group), ",\n \"day\": ", num(day), ",\n",
      " \"theta\": [", paste(apply(thetas, 1, num), collapse = ","), "],\n \"restricted_deviance\": ", num(devs), ",\n",
      " \"estimated_theta\": ", num(getME(fit, "theta")), ",\n \"sigma\": ", num(sigma(fit)), ",\n",
      " \"fixed\": ", num(fixef(fit)), ",\n \"fixed_covariance\": ", num(as.matrix(vcov(fit))), ",\n",
      " \"random\": ", num(blups), ",\n \"random_conditional_variance\": ", num(extra), "\n}\n", sep = "", file = file)
}

d <- lmer(Yield ~ 1 + (1 | Batch), Dyestuff, REML = TRUE)
dev <- lmer(Yield ~ 1 + (1 | Batch), Dyestuff, REML = TRUE, devFunOnly = TRUE)
r <- ranef(d, condVar = TRUE)
write_one("mixed_dyestuff.json", d, dev, matrix(c(0.1, 0.3, 1, 3, 10)), Dyestuff$Yield, as.integer(Dyestuff$Batch),
          attr(r$Batch, "postVar")[1, 1, ], rep(0, nrow(Dyestuff)), r$Batch[, 1])

s <- lmer(Reaction ~ 1 + Days + (Days | Subject), sleepstudy, REML = TRUE)
dev <- lmer(Reaction ~ 1 + Days + (Days | Subject), sleepstudy, REML = TRUE, devFunOnly = TRUE)
r <- ranef(s, condVar = TRUE)
thetas <- rbind(c(1, 0, 0.2), c(1, 0.1, 0.2), c(0.3, -0.1, 0.5), c(3, 0.05, 0.1), getME(s, "theta"))
write_one("mixed_sleepstudy.json", s, dev, thetas, sleepstudy$Reaction, as.integer(sleepstudy$Subject),
          attr(r$Subject, "postVar")[1, 1, ], sleepstudy$Days, as.vector(t(as.matrix(r$Subject))))
