# The pooled model of METHODS.md on the demo's captures (captures.csv and fits.csv of `fitledger export FOLDER`), fitted by lme4.
# Run: Rscript lme4_demo.R FOLDER > lme4_demo.csv        R 4.2.2, lme4 1.1-31
suppressMessages(library(lme4)); rd <- function(n) read.csv(file.path(commandArgs(TRUE)[1], n), stringsAsFactors = FALSE, na.strings = "")
d <- merge(rd("captures.csv"), rd("fits.csv")[, c("session_id", "visit_kind")], by = "session_id")
d <- d[!is.na(d$insole_level) & !is.na(d$total_shims) & !is.na(d$stance_mm), ]
d$insole <- factor(d$insole_level, levels = c("none", "low", "medium", "high", "custom"))
d$step <- factor(pmin(d$capture_order, 5)); d$knee <- paste(d$rider_id, d$side)
for (v in c("arch_height", "arch_collapse", "heel_posture", "squat_knee_path")) d[[v]] <- factor(ifelse(is.na(d[[v]]), "unrecorded", d[[v]]))
d$no_angle <- as.integer(is.na(d$forefoot_angle_deg)); d$angle <- ifelse(is.na(d$forefoot_angle_deg), 0, d$forefoot_angle_deg)
for (o in c("knee_tilt_deg", "knee_sway_mm", "knee_offset_mm")) {
  x <- d[!is.na(d[[o]]), ]
  m <- suppressMessages(suppressWarnings(lmer(as.formula(paste(o, "~ insole + total_shims + stance_mm + arch_height + arch_collapse + heel_posture + squat_knee_path + angle + no_angle + step + visit_kind + (1|rider_id) + (1|knee) + (1|session_id)")), x,
            control = lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5)))))
  v <- as.data.frame(VarCorr(m)); b <- fixef(m); s <- sqrt(diag(as.matrix(vcov(m))))
  for (k in c("insolelow", "insolemedium", "insolehigh", "insolecustom", "total_shims", "stance_mm")) cat(o, k, format(b[k], digits = 12), format(s[k], digits = 12), nrow(x), "\n", sep = ",")
  for (i in seq_len(nrow(v))) cat(o, paste0("variance ", v$grp[i]), format(v$vcov[i], digits = 10), "", nrow(x), "\n", sep = ",")
}
