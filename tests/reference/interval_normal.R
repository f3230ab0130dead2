# Interval-censored normal regression of the stopping distances, for test_interval_normal.py.
# Run: Rscript interval_normal.R
suppressPackageStartupMessages(library(survival))
low <- 10 * floor(cars$dist / 10)
show <- function(name, fit) {
  cat(name, sprintf("%.8f", c(coef(fit), fit$scale, fit$loglik[2])), "\n")
}
surv <- function(high) Surv(low, high, type = "interval2")
show("slope", survreg(surv(low + 10) ~ speed, cars, dist = "gaussian"))
show("mean", survreg(surv(low + 10) ~ 1, cars, dist = "gaussian"))
open <- ifelse(low >= 80, NA, low + 10)
show("open", survreg(surv(open) ~ speed, cars, dist = "gaussian"))
show("tobin", survreg(Surv(durable, durable > 0, type = "left") ~ age + quant, tobin,
                      dist = "gaussian"))
