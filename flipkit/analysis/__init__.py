"""What the shop's numbers say: arrays and frames in, frames out.

* ratios     ratio of sums, its standard error, what it is without each trip
* resamples  sums over trips drawn anew, and the limits that they give
* intervals  the interval of a ratio of sums
* hourly     true hourly return per category and of the whole shop
* sizes      bulky against small
* survival   time to sale with unsold items censored
* prospects  what unsold stock may still bring
* stock      ageing, turnover, sell-through, space
* shrinkage  small groups pulled towards the whole
* finance    internal rate of return, present value
* words      verdicts in plain words, by stated bounds
"""
