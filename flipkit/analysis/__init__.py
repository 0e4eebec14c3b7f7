"""What the shop's numbers say: arrays and frames in, frames out.

Hours and money, group by group:

* groups            which items count, and their sums by group and trip
* ratios            ratio of sums, its standard error, what it is without each trip
* resamples         sums over trips drawn anew, and the limits that they give
* intervals         the interval of a ratio of sums
* hourly            true hourly return per category and of the whole shop
* bought            the same on bought basis, unsold stock entering with what it may still bring
* gaps              how much more an hour on one group earns than on another
* shrinkage         small groups pulled towards the whole
* sizes, break_even bulky against small, and the price from which bulky wins
* words             verdicts in plain words, by stated bounds

Stock and waiting:

* survival          time to sale with unsold items censored
* waiting           groups that wait beside each other; waiting_curves: their curves for a picture
* chances           chance of a sale within a horizon, given the days already waited
* prospects         what unsold stock may still bring; item_facts: what it needs to know
* stock             ageing, turnover, sell-through, space
* year              the goods of a span of days, each item at its own cost
* finance           internal rate of return, present value
* packing_lessons   what parcels taught

Prices:

* person_weeks      the listings week by week
* selling           chance of a sale by price and week; selling_prior: what is held before;
                    hidden_demand: the fit behind it
* demand            how fast buyers come; price_tables: prices that can be asked, what each leaves
* pricing           the price path; weighed_prices: the same where the demand is unsure
* price_outcomes    what a path leads to; frontier: money against weeks
* stock_prices      what to ask now for everything on the shelf
* stopping          textbook cases of search and markdown

Buying:

* comparables       the typical price from few like sales, and how many more would change the decision
* buying            the question in the aisle; highest_price, buying_reasons, buying_answers: its answer
* buying_verdicts   buy more, only under a price, stop
* shop_knowledge    what the books know about buying; knowledge_file: the file that holds it
* newsvendor        how many to buy of what loses value
* sourcing          where next month's hours go

What if, and what came true:

* scenarios         any assumption moved; moving: the same from sums alone, for sliders
* forecasts         what is on sale: the chance of a sale, the price
* next_returns      what an hour may earn on each category's sales of the coming month
* track_record      forecasts kept and scored
"""
