#pragma once
/// What a dictionary wants watched of its channels: limits, rates, values that do not change or do not come, states
/// that should be others. Rows are followed as they come; each alert is judged at every tick on the newest value.
///
/// Deadbands are here, delays are the alert book's. A value that is NaN is none. A channel that is silent stays as it
/// was: that it is silent is another alert, and that nothing comes at all is the link's. An igniter that opens as its
/// charge's pressure pulse is seen has done what it is for, and raises nothing until another one is fitted.
#include <array>
#include <cstdint>
#include <limits>
#include <string>
#include <vector>

#include "protocol/dictionary/dictionary.hpp"
#include "server/monitor/alert_rules.hpp"
#include "server/monitor/condition.hpp"
#include "server/pipeline/batch.hpp"

namespace turnstone {

/// Of a channel's limits, those that can be drawn beside its values.
[[nodiscard]] std::vector<ColumnLimit> drawn_limits(const Channel& channel);

class LimitWatch {
  public:
    /// Both must outlive it.
    LimitWatch(const Dictionary& dictionary, const Schema& schema);
    void see(const Batch& batch, Marks from);
    void judge(std::int64_t t_ns, std::vector<Condition>& out);
    /// How many alerts it watches for.
    [[nodiscard]] std::size_t size() const noexcept { return watched_.size(); }

  private:
    static constexpr std::int64_t kNever = std::numeric_limits<std::int64_t>::min();
    struct Point {
        std::int64_t t_ns = kNever;
        double value = 0;
    };
    /// Of another channel that an alert waits for.
    struct Gate {
        const AlertWhile* of;
        TableId table;
        std::size_t place;
        std::int64_t t_since_ns = kNever; ///< since when it holds
    };
    struct Watched {
        const Channel* channel;
        const ChannelAlert* alert;
        std::size_t place;             ///< among the row's numbers, or its texts
        std::string about;             ///< "health.battery_voltage/low"
        AlertRule rule;                ///< of it, from the dictionary
        Point newest = {};             ///< by its own time
        std::int64_t t_rx_ns = kNever; ///< of the newest
        Point steady = {};             ///< stuck: since when it has been about this
        Point earlier = {};            ///< rate: at least a second before the newest
        double rate = 0;               ///< in one second
        int level = -1;                ///< the most urgent limit it is beyond; -1: none
        int gate = -1;                 ///< of gates_; -1: none
        // Expected, of an igniter's continuity.
        std::int64_t t_left_ns = kNever; ///< since when it has not been as expected; never: it is, or never was
        bool fired = false;              ///< that is what its charge did
    };
    struct TableRows {
        TableId id;
        std::size_t first, last; ///< of watched_
    };

    void add_gate(Watched& watched, const Dictionary& dictionary);
    static void follow(Gate& gate, const RowRecord& row, double value);
    [[nodiscard]] bool counts(const Watched& watched, std::int64_t t_ns) const;
    void follow(Watched& watched, const Batch& batch, const RowRecord& row, const Table& table) const;
    void explain(Watched& watched) const;
    void see_pulse(std::int64_t t_ns);
    void hear(std::int64_t t_rx_ns) noexcept;
    [[nodiscard]] static int beyond(const Watched& watched, double value);
    [[nodiscard]] bool holds(Watched& watched, std::int64_t t_ns) const;
    [[nodiscard]] Condition condition(const Watched& watched, std::int64_t t_ns) const;

    const Schema* schema_;
    int vehicle_ = -1;                 ///< its place in the setup
    std::int64_t t_pulse_ns_ = kNever; ///< of the newest pressure pulse
    std::vector<Watched> watched_;     ///< those of a table one after another
    std::vector<TableRows> tables_;
    std::vector<Gate> gates_;
    std::vector<bool> is_packet_; ///< by table: a row of it shows that the vehicle is heard
    std::int64_t t_heard_ns_ = kNever;
    std::int64_t heard_since_ns_ = kNever; ///< without a second of silence
};

} // namespace turnstone
