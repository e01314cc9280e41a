#pragma once
/// When what comes in several sentences is complete: as soon as it has what the last ones had, else when the next
/// begins. After kMissesMax without some part that part is no longer waited for. Nothing is complete before the second
/// begins: the first may be half of one.
#include <cstdint>

namespace turnstone {

class Completion {
  public:
    static constexpr int kMissesMax = 3;

    void add(std::uint64_t parts) noexcept { had_ |= parts; }
    [[nodiscard]] std::uint64_t had() const noexcept { return had_; }
    /// True once for each: it is to be given out.
    [[nodiscard]] bool due() noexcept {
        if (given_ || had_ == 0 || expected_ == 0 || (had_ & expected_) != expected_) return false;
        given_ = true;
        return true;
    }
    /// The next begins. True: the one at hand is to be given out as it is.
    bool end() noexcept {
        const bool left = !given_ && had_ != 0 && expected_ != 0;
        if (had_ != 0) learn();
        had_ = 0;
        given_ = false;
        return left;
    }

  private:
    void learn() noexcept {
        if ((had_ & expected_) == expected_) {
            expected_ |= had_;
            misses_ = 0;
        } else if (++misses_ >= kMissesMax) {
            expected_ = had_;
            misses_ = 0;
        }
    }

    std::uint64_t had_ = 0, expected_ = 0; ///< parts; expected 0: nothing is known yet
    int misses_ = 0;
    bool given_ = false;
};

} // namespace turnstone
