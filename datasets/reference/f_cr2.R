# Writes f_cr2_expected.csv: CR2 standard errors with Satterthwaite degrees of freedom.
# R 4.2.2, clubSandwich 0.5.8. Run in this folder: Rscript f_cr2.R
library(clubSandwich)
tell <- function(id, model, data, cluster) {
  fit <- lm(model, data = data)
  found <- coef_test(fit, vcov = "CR2", cluster = cluster, test = "Satterthwaite")
  data.frame(id = id, term = rownames(found), estimate = found$beta, se = found$SE, df = found$df_Satt)
}
orthodont <- read.csv("d_orthodont_unbalanced.csv")
sleepstudy <- read.csv("d_sleepstudy.csv")
orthodont$male <- as.numeric(orthodont$Sex == "Male")
few <- subset(sleepstudy, Days == 0 | Days == 9)
rows <- rbind(
  # clusters of unequal size, a term between clusters
  tell("F-ORTHU", distance ~ age + male, orthodont, orthodont$Subject),
  # clusters of ten, a term within them
  tell("F-SLEEP", Reaction ~ Days, sleepstudy, sleepstudy$Subject),
  # every row a cluster of its own: HC2 with Bell and McCaffrey's degrees of freedom
  tell("F-ROWS", distance ~ age + male, orthodont, seq_len(nrow(orthodont))),
  tell("F-TWO", Reaction ~ Days, few, seq_len(nrow(few)))
)
write.csv(rows, "f_cr2_expected.csv", row.names = FALSE)
