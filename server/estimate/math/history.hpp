#pragma once
/// The newest N values of something, oldest first by index. Fixed size, no allocation after construction.
#include <cstddef>
#include <cstdint>
#include <vector>

namespace turnstone::estimate {

template <class T>
class History {
  public:
    explicit History(std::size_t capacity) : items_(capacity) {}

    void push(const T& item) {
        items_[(first_ + count_) % items_.size()] = item;
        if (count_ < items_.size())
            ++count_;
        else
            first_ = (first_ + 1) % items_.size();
    }
    void clear() noexcept { first_ = count_ = 0; }
    [[nodiscard]] std::size_t size() const noexcept { return count_; }
    [[nodiscard]] bool empty() const noexcept { return count_ == 0; }
    [[nodiscard]] const T& operator[](std::size_t i) const noexcept { return items_[(first_ + i) % items_.size()]; }
    [[nodiscard]] T& operator[](std::size_t i) noexcept { return items_[(first_ + i) % items_.size()]; }
    [[nodiscard]] const T& back() const noexcept { return (*this)[count_ - 1]; }
    void replace_back(const T& item) noexcept { items_[(first_ + count_ - 1) % items_.size()] = item; }
    /// Index of the first item not older than `t_ns`; size() when all are older. Items carry t_ns in ascending order.
    [[nodiscard]] std::size_t since(std::int64_t t_ns) const noexcept {
        std::size_t low = 0;
        std::size_t high = count_;
        while (low < high) {
            const std::size_t middle = (low + high) / 2;
            if ((*this)[middle].t_ns < t_ns)
                low = middle + 1;
            else
                high = middle;
        }
        return low;
    }

  private:
    std::vector<T> items_;
    std::size_t first_ = 0;
    std::size_t count_ = 0;
};

} // namespace turnstone::estimate
